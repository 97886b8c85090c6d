"""stub"""

DESCRIPTION = ""


def add_arguments(c):
    pass


def main(o):
    return 0
