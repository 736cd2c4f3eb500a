"""Names of OPC 40083 and OPC 40077, and which field of a shot each value of a cycle becomes.

Everything is found by namespace URI and browse name; node ids and namespace indexes differ from press
to press. Pressures stay apart: specific (in the melt) and hydraulic are different quantities, and which
of the two a press's shots carry is its `pressure_basis`.
"""

import re
from typing import Final, NamedTuple

UA: Final = "http://opcfoundation.org/UA/"
DI: Final = "http://opcfoundation.org/UA/DI/"
GENERAL: Final = "http://opcfoundation.org/UA/PlasticsRubber/GeneralTypes/"
IMM: Final = "http://opcfoundation.org/UA/PlasticsRubber/IMM2MES/"

MACHINE_TYPE: Final = (IMM, "IMM_MES_InterfaceType")
EVENT_TYPE: Final = (GENERAL, "CycleParametersEventType")
DEVICE_SET: Final = (DI, "DeviceSet")

#: Objects of a cycle event; the number is in the browse name.
UNIT_OBJECT: Final = re.compile(r"InjectionUnitCycleParameters(?:_(\d{1,3}))?\Z")
BARREL_ZONE: Final = re.compile(r"BarrelTemperatureZoneCycleParameters(?:_(\d{1,3}))?\Z")
MOULD_OBJECT: Final = re.compile(r"MouldCycleParameters(?:_(\d{1,3}))?\Z")
MOULD_ZONE: Final = re.compile(r"MouldTemperatureZone(?:CycleParameters)?(?:_(\d{1,3}))?\Z")


class Target(NamedTuple):
    """A field of a shot, or with `extra` one of its own numbers."""

    field: str
    quantity: str
    extra: bool = False


#: Flat fields of the event that are asked for.
CYCLE_FIELDS: Final[tuple[str, ...]] = (
    "JobCycleCounter", "MachineCycleCounter", "CycleTime", "CycleQuality", "JobName", "CurrentLotName",
    "BoxId", "PartId",
)  # fmt: skip

_SPECIFIC: Final[dict[str, Target]] = {
    "SpecificPressureMaximum": Target("peak_pressure_bar", "pressure"),
    "TransferSpecificPressure": Target("transfer_pressure_bar", "pressure"),
    "HoldSpecificPressureAverage": Target("hold_pressure_bar", "pressure"),
    "HydraulicPressureMaximum": Target("hydraulic_peak_bar", "pressure", True),
    "TransferHydraulicPressure": Target("hydraulic_transfer_bar", "pressure", True),
    "HoldHydraulicPressureAverage": Target("hydraulic_hold_bar", "pressure", True),
}
_HYDRAULIC: Final[dict[str, Target]] = {
    "HydraulicPressureMaximum": Target("peak_pressure_bar", "pressure"),
    "TransferHydraulicPressure": Target("transfer_pressure_bar", "pressure"),
    "HoldHydraulicPressureAverage": Target("hold_pressure_bar", "pressure"),
    "SpecificPressureMaximum": Target("specific_peak_bar", "pressure", True),
    "TransferSpecificPressure": Target("specific_transfer_bar", "pressure", True),
    "HoldSpecificPressureAverage": Target("specific_hold_bar", "pressure", True),
}

#: Values of an injection unit. Where two may fill one field, the first that is there does.
UNIT_FIELDS: Final[dict[str, Target]] = {
    "PlastificationVolume": Target("shot_size_cm3", "volume"),
    "CushionVolume": Target("cushion_cm3", "volume"),
    "CushionStroke": Target("cushion_mm", "length"),
    "InjectionStartPosition": Target("start_position_mm", "length"),
    "VPChangeOverPosition": Target("transfer_position_mm", "length"),
    "TransferStroke": Target("transfer_position_mm", "length"),
    "TransferVolume": Target("transfer_volume_cm3", "volume", True),
    "InjectionTime": Target("fill_time_s", "time"),
    "DosingTime": Target("recovery_time_s", "time"),
    **_SPECIFIC,
    "HoldSpecificPressureMaximum": Target("specific_hold_max_bar", "pressure", True),
    "HoldHydraulicPressureMaximum": Target("hydraulic_hold_max_bar", "pressure", True),
    "BackPressure": Target("back_pressure_bar", "pressure"),
    "PlastificationSpecificPressureAverage": Target("specific_recovery_bar", "pressure", True),
    "PlastificationHydraulicPressureAverage": Target("hydraulic_recovery_bar", "pressure", True),
    "DecompressionVolumeBeforePlastification": Target("decompression_before_cm3", "volume", True),
    "DecompressionVolumeAfterPlastification": Target("decompression_after_cm3", "volume", True),
    "InjectionSpeedAverage": Target("injection_speed_mm_s", "speed"),
    "InjectionSpeedMaximum": Target("injection_speed_max_mm_s", "speed", True),
    "PlastificationRotationalSpeedAverage": Target("screw_speed_rpm", "turns"),
    "CavityPressureMaximum": Target("cavity_peak_bar", "pressure", True),
    "TransferCavityPressure": Target("cavity_transfer_bar", "pressure", True),
}
#: Durations carry no unit: the standard fixes milliseconds.
DURATIONS: Final = frozenset({"InjectionTime", "DosingTime", "CycleTime"})
ZONE_FIELD: Final = "ActualTemperature"

#: What the leak-likelihood lives on; a press that lacks one is told so.
WANTED: Final[tuple[str, ...]] = (
    "shot_size_cm3", "cushion", "peak_pressure_bar", "transfer_pressure_bar", "hold_pressure_bar",
    "fill_time_s", "recovery_time_s", "cycle_time_s", "zone_temps_c",
)  # fmt: skip

#: A cycle that finished cannot read zero here: zero means the press does not measure it.
NEVER_ZERO: Final = frozenset(
    {"shot_size_cm3", "peak_pressure_bar", "transfer_pressure_bar", "fill_time_s", "recovery_time_s",
     "cycle_time_s", "injection_speed_mm_s", "screw_speed_rpm"}
)  # fmt: skip

#: Names on the way from the machine to what is read; each step is of one of the standards' namespaces.
VARIABLES: Final[dict[str, tuple[str, ...]]] = {
    "mold": ("Jobs", "ActiveJob", "MouldId"),
    "material": ("Jobs", "ActiveJob", "Material"),
    "setup": ("Jobs", "ActiveJob", "ProductionDatasetName"),
    "serial": ("MachineInformation", "SerialNumber"),
    "manufacturer": ("MachineInformation", "Manufacturer"),
    "model": ("MachineInformation", "Model"),
}
STANDARD: Final = frozenset({DI, GENERAL, IMM})
#: Those that change while the press runs.
FOLLOWED: Final = ("mold", "material", "setup")


def unit_targets(pressure_basis: str) -> dict[str, Target]:
    """Which value becomes which field at a press of this pressure basis.

    >>> unit_targets("hydraulic")["HydraulicPressureMaximum"].field
    'peak_pressure_bar'
    """
    return UNIT_FIELDS if pressure_basis == "specific" else {**UNIT_FIELDS, **_HYDRAULIC}
