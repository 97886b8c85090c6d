"""A drill played: a settled plant, a guard or what stands in its place, and what came of it."""
