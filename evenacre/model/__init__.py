"""What all else is about: field, implement, product, track, operation, season.

Everything here is SI: metres, square metres, kilograms, seconds (since 1970-01-01 UTC),
radians. Positions are WGS 84 longitude and latitude in degrees; a geometry that crosses
the antimeridian has longitudes running past 180 rather than wrapping.
"""

from evenacre.arrays import BoolArray, FloatArray, IntArray
from evenacre.model.field import Field
from evenacre.model.grazing import Grazing, HerdClass, Paddock, Stay, WetGround
from evenacre.model.implement import Compartment, Implement, TowedUnit
from evenacre.model.implement_error import EXACT, MEASURED, Doubt, SettingsError, Together
from evenacre.model.operation import Operation, Settings
from evenacre.model.plan_record import PlannedPaddock, PlannedSeeding, PlannedVisit, PlannedWindow
from evenacre.model.product import (
    Application,
    Need,
    PastSetting,
    PlannedRate,
    Product,
    SeedLot,
    WithSeed,
)
from evenacre.model.season import Handover, InputFile, OperationPlan, Practice, Season
from evenacre.model.seeding import Booking, PastWeather, SeedBin, Seeding
from evenacre.model.track import UNDATED_S, Blockage, LoadTicket, Track, Unweighed

__all__ = [
    "EXACT",
    "MEASURED",
    "UNDATED_S",
    "Application",
    "Blockage",
    "Booking",
    "BoolArray",
    "Compartment",
    "Doubt",
    "Field",
    "FloatArray",
    "Grazing",
    "Handover",
    "HerdClass",
    "Implement",
    "InputFile",
    "IntArray",
    "LoadTicket",
    "Need",
    "Operation",
    "OperationPlan",
    "Paddock",
    "PastSetting",
    "PastWeather",
    "PlannedPaddock",
    "PlannedRate",
    "PlannedSeeding",
    "PlannedVisit",
    "PlannedWindow",
    "Practice",
    "Product",
    "Season",
    "SeedBin",
    "SeedLot",
    "Seeding",
    "Settings",
    "SettingsError",
    "Stay",
    "Together",
    "TowedUnit",
    "Track",
    "Unweighed",
    "WetGround",
    "WithSeed",
]
