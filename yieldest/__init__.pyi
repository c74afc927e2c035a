from .economics.bill_of_materials import BillOfMaterials
from .economics.read_bill import read_bill
from .energy.annual_energy import annual_energy
from .energy.net_energy import SpeedSeries
from .errors import InputError
from .model.estimate import load
from .report.sentences.words import sentence
from .turbine.curve_file import read_power_curve
from .turbine.power_curve import PowerCurve
from .turbine.reading_file import read_readings
from .wind.distribution import WindDistribution
from .wind.long_term.from_records import to_long_term
from .wind.read_wind import read_wind
from .wind.wind_record import WindRecord

__all__ = [
    "BillOfMaterials",
    "InputError",
    "PowerCurve",
    "SpeedSeries",
    "WindDistribution",
    "WindRecord",
    "__version__",
    "annual_energy",
    "load",
    "read_bill",
    "read_power_curve",
    "read_readings",
    "read_wind",
    "sentence",
    "to_long_term",
]

__version__: str
