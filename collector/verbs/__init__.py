"""The verbs of the `holdwater` command that live in this folder, one a file."""
