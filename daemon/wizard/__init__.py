"""From what a keeper knows to a site file: questions, answers, and the file they make."""
