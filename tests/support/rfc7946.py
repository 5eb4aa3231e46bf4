"""Our own checker of RFC 7946: every violation found, by the rule's section. Covers what validators miss."""

import itertools

TYPES = {
    "Point",
    "MultiPoint",
    "LineString",
    "MultiLineString",
    "Polygon",
    "MultiPolygon",
    "GeometryCollection",
    "Feature",
    "FeatureCollection",
}


def violations(collection):
    """Every rule of RFC 7946 that a FeatureCollection breaks."""
    found = []
    if collection.get("type") != "FeatureCollection":
        found.append("1.4 not a FeatureCollection")
    if "crs" in collection:
        found.append("4 a crs member was removed from the standard")
    if set(collection) & {"coordinates", "geometries", "geometry", "properties"}:
        found.append("7.1 a FeatureCollection has a member of another type")
    found += _bbox(collection)
    identifiers = [feature.get("id") for feature in collection["features"] if "id" in feature]
    if len(set(map(repr, identifiers))) != len(identifiers):
        found.append("3.2 an id stands twice")
    for feature in collection["features"]:
        found += _feature(feature)
    return found


def _feature(feature):
    found = []
    if feature.get("type") != "Feature":
        found.append("3.2 a member of features is no Feature")
    if "geometry" not in feature or "properties" not in feature:
        found.append("3.2 a Feature lacks geometry or properties")
    if not isinstance(feature.get("properties"), dict | None):
        found.append("3.2 properties is neither an object nor null")
    if "id" in feature and (
        not isinstance(feature["id"], str | int | float) or isinstance(feature["id"], bool)
    ):
        found.append("3.2 an id is neither a string nor a number")
    if set(feature) & {"features", "coordinates", "geometries"}:
        found.append("7.1 a Feature has a member of another type")
    return found + _bbox(feature) + _geometry(feature.get("geometry"), nested=False)


def _geometry(geometry, *, nested):
    if geometry is None:
        return []
    found = []
    kind = geometry.get("type")
    if kind not in TYPES - {"Feature", "FeatureCollection"}:
        return [f"1.4 {kind} is no geometry type"]
    if set(geometry) & {"geometry", "properties", "features"}:
        found.append("7.1 a geometry has a member of another type")
    if kind == "GeometryCollection":
        if nested:
            found.append("3.1.8 a GeometryCollection is nested")
        for part in geometry["geometries"]:
            found += _geometry(part, nested=True)
        return found
    coordinates = geometry["coordinates"]
    if kind == "Polygon":
        found += _polygon(coordinates)
    elif kind == "MultiPolygon":
        for polygon in coordinates:
            found += _polygon(polygon)
    return found + [fault for position in _positions(coordinates) for fault in _position(position)]


def _polygon(rings):
    found = []
    for number, ring in enumerate(rings):
        if len(ring) < 4:
            found.append("3.1.6 a ring has fewer than four positions")
        elif ring[0] != ring[-1]:
            found.append("3.1.6 a ring is not closed")
        else:
            area = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(ring))
            if (area > 0) != (number == 0):
                found.append("3.1.6 a ring runs the wrong way")
            if any(a == b for a, b in itertools.pairwise(ring)):
                found.append("a ring repeats a vertex")
        longitudes = [position[0] for position in ring]
        if max(longitudes) - min(longitudes) > 180:
            found.append("3.1.9 a ring crosses 180° uncut")
    return found


def _positions(coordinates):
    if coordinates and isinstance(coordinates[0], int | float):
        yield coordinates
    else:
        for part in coordinates:
            yield from _positions(part)


def _position(position):
    if not 2 <= len(position) <= 3:
        return ["3.1.1 a position has fewer than two or more than three numbers"]
    longitude, latitude = position[:2]
    found = []
    if not -90 <= latitude <= 90:
        found.append("5.3 a latitude is beyond the poles")
    if not -180 <= longitude <= 180:
        found.append("4 a longitude is out of range")
    return found


def _bbox(member):
    if "bbox" not in member:
        return []
    bbox = member["bbox"]
    if len(bbox) not in (4, 6):
        return ["5 a bbox has the wrong length"]
    south, north = bbox[1], bbox[len(bbox) // 2 + 1]
    return [] if south <= north else ["5 a bbox has south above north"]
