"""What can befall a drawn night: a table of named kinds, one small function each."""
