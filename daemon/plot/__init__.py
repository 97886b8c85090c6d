"""The picture that `weirkeeper check SITE --plot FILE` draws; start at `sheet.draw`."""
