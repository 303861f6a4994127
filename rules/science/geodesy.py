"""Distances and courses on the earth taken as a sphere."""

import math
from typing import Final

# Mean radius of the WGS 84 ellipsoid, (2a + b)/3, in metres.
EARTH_RADIUS_M: Final = 6371008.8


def distance_m(lat1: float, lon1: float, lat2: float, lon2: float) -> float:
    """Great-circle distance in metres by the haversine formula; within 0.6 % of the WGS 84 ellipsoid."""
    phi1, phi2 = math.radians(lat1), math.radians(lat2)
    half_lat = math.sin((phi2 - phi1) / 2)
    half_lon = math.sin(math.radians(lon2 - lon1) / 2)
    share = half_lat * half_lat + math.cos(phi1) * math.cos(phi2) * half_lon * half_lon
    return 2 * EARTH_RADIUS_M * math.asin(math.sqrt(min(1.0, share)))


def course_deg(lat1: float, lon1: float, lat2: float, lon2: float) -> float:
    """Course of the great circle at the first point, clockwise from true north, 0 up to 360 degrees."""
    phi1, phi2 = math.radians(lat1), math.radians(lat2)
    turn = math.radians(lon2 - lon1)
    east = math.sin(turn) * math.cos(phi2)
    north = math.cos(phi1) * math.sin(phi2) - math.sin(phi1) * math.cos(phi2) * math.cos(turn)
    return math.degrees(math.atan2(east, north)) % 360.0


def destination(lat: float, lon: float, towards_deg: float, length_m: float) -> tuple[float, float]:
    """Latitude and longitude (degrees) of the point ``length_m`` away in the direction ``towards_deg``."""
    phi, angle, theta = math.radians(lat), length_m / EARTH_RADIUS_M, math.radians(towards_deg)
    sin_phi = math.sin(phi) * math.cos(angle) + math.cos(phi) * math.sin(angle) * math.cos(theta)
    east = math.sin(theta) * math.sin(angle) * math.cos(phi)
    north = math.cos(angle) - math.sin(phi) * sin_phi
    longitude = lon + math.degrees(math.atan2(east, north))
    return math.degrees(math.asin(max(-1.0, min(1.0, sin_phi)))), (longitude + 180.0) % 360.0 - 180.0


def wrapped_deg(angle: float) -> float:
    """The same direction between -180 and 180 degrees."""
    return (angle + 180.0) % 360.0 - 180.0
