"""Checks of the package against mathematics and against what others have published; `cases.CASES` lists them."""
