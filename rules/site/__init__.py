"""The site file: what a keeper writes down about the plumbing, read and checked."""
