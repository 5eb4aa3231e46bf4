"""What the schema of ISO 11783-10 task data cannot check."""

from shapely.geometry import Polygon

NAMED = ("CTR", "FRM", "PFD", "VPN", "PDT", "TSK")
REFERENCES = (
    ("FRM", "I"),
    ("PFD", "E"),
    ("PFD", "F"),
    ("PDT", "D"),
    ("TSK", "C"),
    ("TSK", "D"),
    ("TSK", "E"),
    ("PDV", "C"),
    ("PDV", "E"),
)


def task_faults(root, binary=None):
    """What is wrong with a task data file beyond what its schema says."""
    faults = []
    identifiers = [element.get("A") for element in root.iter() if element.tag in NAMED]
    if len(set(identifiers)) != len(identifiers):
        faults.append("an identifier stands twice")
    faults += [
        f"{tag} {name} names what is not there"
        for tag, name in REFERENCES
        for element in root.iter(tag)
        if element.get(name) is not None and element.get(name) not in identifiers
    ]
    for element in root.iter():
        for name in ("B", "C"):
            text = element.get(name, "")
            if element.tag in ("CTR", "FRM", "PFD", "PDT", "TZN") and len(text) > 32:
                faults.append(f"{element.tag} {name} is longer than 32 characters")
    if not all(
        element.get("B", element.get("C"))
        for element in (*root.iter("CTR"), *root.iter("FRM"), *root.iter("PFD"))
    ):
        faults.append("a name is empty")
    for task in root.iter("TSK"):
        codes = [zone.get("A") for zone in task.findall("TZN")]
        if len(set(codes)) != len(codes):
            faults.append("a zone code stands twice")
        faults += [
            f"TSK {name} names a zone that is not there" for name in "HIJ" if task.get(name) not in codes
        ]
        grids = task.findall("GRD")
        if len(grids) > 1:
            faults.append("a task has more than one grid")
        if grids and any(zone.find("PLN") is not None for zone in task.findall("TZN")):
            faults.append("a task mixes polygons and a grid")
        for zone in task.findall("TZN"):
            values = zone.findall("PDV")
            if not values:
                faults.append("a zone has no value")
            if any(int(value.get("B")) < 0 for value in values):
                faults.append("a rate is negative")
            if len(zone.findall("PLN")) > 1:
                faults.append("a zone has more than one polygon")
        for grid in grids:
            if binary is not None:
                if len(binary) != int(grid.get("E")) * int(grid.get("F")):
                    faults.append("the grid file has the wrong length")
                if not set(map(str, set(binary))) <= set(codes):
                    faults.append("a cell's code names no zone")
    for line in root.iter("LSG"):
        points = [(float(point.get("D")), float(point.get("C"))) for point in line.findall("PNT")]
        if points[0] != points[-1]:
            faults.append("a ring is not closed")
        elif not Polygon(points).is_valid:
            faults.append("a ring crosses itself")
        if any(not (-180 <= x <= 180 and -90 <= y <= 90) for x, y in points):
            faults.append("a position is out of range")
    return faults
