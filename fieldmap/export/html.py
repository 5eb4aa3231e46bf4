"""map.html."""


def write_map(result, path):
    path.write_text("x")
