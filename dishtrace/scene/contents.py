"""What a part holds: water, oil, a liquid that flows through, a melt, a block, an open pot; and openings for steam."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StrictBool

from dishtrace.scene.base import Table
from dishtrace.scene.quantity import Quantity
from dishtrace.scene.tables import Direction, Share, Size, UncertainShare
from dishtrace.scene.uncertain import Uncertain

Mass = Annotated[float | Uncertain, Quantity("kilograms", 0.0, 100000.0, above=True, is_uncertain=True)]
Volume = Annotated[
    float | Uncertain, Quantity("cubic metres", 0.0, 1000.0, above=True, is_uncertain=True, hint="1 litre is 0.001 m3")
]
HeatCapacity = Annotated[float | Uncertain, Quantity("J/(kg K)", 50.0, 15000.0, is_uncertain=True)]
Conductivity = Annotated[float | Uncertain, Quantity("W/(m K)", 0.001, 2500.0, is_uncertain=True)]
Temperature = Annotated[float | Uncertain, Quantity("degrees C", -90.0, 2500.0, is_uncertain=True)]
WaterTemperature = Annotated[
    float | Uncertain,
    Quantity(
        "degrees C: liquid water, between freezing and the critical point at 373.9",
        0.02,
        370.0,
        is_uncertain=True,
        hint="above its critical point water does not boil, and this model does not hold",
    ),
]
Pressure = Annotated[
    float | Uncertain,
    Quantity("pascal, absolute", 1000.0, 2.0e7, is_uncertain=True, hint="1 bar is 100000 Pa; a gauge adds 1 bar"),
]
Minutes = Annotated[float, Quantity("minutes", 0.0, 20000.0, above=True)]
START = "Temperature at the start; left out: that of the air. [degC]"
DURATION = "How long to follow it at most. [min]"


class Spin(Table):
    """A vessel that is free to turn about its axis."""

    inertia_kg_m2: Annotated[float | Uncertain, Quantity("kg m2", 0.0, 1e5, above=True, is_uncertain=True)] = Field(
        description="Moment of inertia of the empty vessel and all that turns with it. [kg m2]"
    )
    bearing_torque_nm: Annotated[float | Uncertain, Quantity("N m", 0.0, 1e4, is_uncertain=True)] = Field(
        0.0, description="Friction torque of bearings and seals, the same at any speed. [N m]"
    )
    bearing_drag_nms: Annotated[float | Uncertain, Quantity("N m s", 0.0, 1e4, is_uncertain=True)] = Field(
        0.0, description="Friction torque over angular speed that comes on top. [N m s]"
    )
    load_nm: Annotated[float | Uncertain, Quantity("N m", 0.0, 1e4, is_uncertain=True)] = Field(
        0.0, description="Torque of what the vessel drives. [N m]"
    )
    radius_m: Size | None = Field(None, description="Radius of the vessel about the axis; left out: the part's. [m]")
    length_m: Size | None = Field(None, description="Length of the vessel along the axis; left out: the part's. [m]")


class Turbine(Table):
    """A small turbine or engine that takes the steam."""

    isentropic_efficiency: UncertainShare = Field(
        description="Power at the shaft over that of an expansion without losses. [-]"
    )
    exhaust_pa: Pressure | None = Field(
        None, description="Pressure behind it, absolute; left out: that of the air. [Pa]"
    )


class _Contents(Table):
    duration_min: Minutes = Field(720.0, description=DURATION)


class Water(_Contents):
    """Water in a tank, shut or with openings."""

    kind: Literal["water"] = Field(description="Kind of contents.")
    mass_kg: Mass = Field(description="Mass of water. [kg]")
    volume_m3: Volume | None = Field(None, description="Volume inside the tank; left out: the part's. [m3]")
    height_m: Size | None = Field(
        None, description="Height inside the tank, floor to top; left out: from the part's shape. [m]"
    )
    temperature_c: WaterTemperature | None = Field(None, description=START)
    pressure_limit_pa: Pressure | None = Field(
        None,
        description="Pressure to be told the time of, absolute; left out: where the shell reaches its allowable "
        "stress, else 1 MPa. [Pa]",
    )
    allowable_stress_pa: (
        Annotated[float | Uncertain, Quantity("pascal", 1e5, 5e9, is_uncertain=True, hint="1 N/mm2 is 1000000 Pa")]
        | None
    ) = Field(None, description="Allowable stress of the wall; left out: from the table, by wall.material. [Pa]")
    safety_factor: Annotated[float, Quantity("", 1.0, 20.0)] = Field(
        1.0, description="Divides the allowable stress once more. [-]"
    )
    joint_efficiency: Annotated[float, Quantity("share", 0.1, 1.0)] = Field(
        0.7, description="Strength of a seam over that of the sheet. [-]"
    )
    spin: Spin | None = Field(None, description="The vessel is free to turn, driven by its jets.")
    turbine: Turbine | None = Field(None, description="A turbine or engine that takes the steam.")


class Oil(_Contents):
    """A bath of oil that stays in the part."""

    kind: Literal["oil"] = Field(description="Kind of contents.")
    mass_kg: Mass = Field(description="Mass of oil. [kg]")
    heat_capacity_j_kgk: HeatCapacity = Field(2100.0, description="Specific heat capacity. [J/(kg K)]")
    temperature_c: Temperature | None = Field(None, description=START)
    limit_c: Temperature | None = Field(
        None, description="Temperature not to be passed, such as 30 K below the flash point. [degC]"
    )


class Flow(_Contents):
    """A liquid that flows through."""

    kind: Literal["flow"] = Field(description="Kind of contents.")
    fluid: Literal["water", "oil"] = Field("water", description="What flows.")
    flow_kg_s: Annotated[float | Uncertain, Quantity("kg/s", 0.0, 100.0, above=True, is_uncertain=True)] = Field(
        description="Mass flow. [kg/s]"
    )
    inlet_c: Temperature = Field(description="Temperature at the inlet. [degC]")
    mass_kg: Mass = Field(1.0, description="Mass of liquid held in the part. [kg]")
    heat_capacity_j_kgk: HeatCapacity | None = Field(
        None, description="Specific heat capacity; left out: 2100 for oil, by the steam tables for water. [J/(kg K)]"
    )
    pressure_pa: Pressure | None = Field(
        None, description="Pressure of the liquid, absolute; left out: that of the air. [Pa]"
    )
    limit_c: Temperature | None = Field(None, description="Temperature not to be passed. [degC]")


class Melt(_Contents):
    """A charge that melts."""

    kind: Literal["melt"] = Field(description="Kind of contents.")
    mass_kg: Mass = Field(description="Mass of the charge. [kg]")
    melting_c: Temperature = Field(description="Melting temperature. [degC]")
    heat_of_fusion_j_kg: Annotated[float | Uncertain, Quantity("J/kg", 1e3, 2e6, is_uncertain=True)] = Field(
        description="Heat of fusion. [J/kg]"
    )
    heat_capacity_j_kgk: HeatCapacity = Field(description="Specific heat capacity of the solid. [J/(kg K)]")
    heat_capacity_liquid_j_kgk: HeatCapacity | None = Field(
        None, description="Specific heat capacity of the melt; left out: as the solid. [J/(kg K)]"
    )
    temperature_c: Temperature | None = Field(None, description=START)
    limit_c: Temperature | None = Field(None, description="Temperature not to be passed. [degC]")


class Block(_Contents):
    """A plain solid block, or sand."""

    kind: Literal["solid"] = Field(description="Kind of contents.")
    mass_kg: Mass = Field(description="Mass of the block. [kg]")
    heat_capacity_j_kgk: HeatCapacity = Field(description="Specific heat capacity. [J/(kg K)]")
    conductivity_w_mk: Conductivity | None = Field(
        None, description="Thermal conductivity; only the wall's temperature field needs it. [W/(m K)]"
    )
    temperature_c: Temperature | None = Field(None, description=START)
    limit_c: Temperature | None = Field(None, description="Temperature not to be passed. [degC]")


class Insulation(_Contents):
    """Insulation behind the wall."""

    kind: Literal["insulation"] = Field(description="Kind of contents.")
    conductivity_w_mk: Conductivity = Field(0.04, description="Thermal conductivity. [W/(m K)]")
    thickness_m: Size = Field(0.05, description="Thickness. [m]")
    mass_kg: Mass | None = Field(None, description="Mass that heats with the wall; left out: none. [kg]")
    heat_capacity_j_kgk: HeatCapacity = Field(840.0, description="Specific heat capacity. [J/(kg K)]")
    temperature_c: Temperature | None = Field(None, description=START)
    limit_c: Temperature | None = Field(None, description="Temperature not to be passed. [degC]")


class TrappedAir(_Contents):
    """Air alone."""

    kind: Literal["air"] = Field(description="Kind of contents.")
    volume_m3: Volume | None = Field(None, description="Volume of the air; left out: the part's. [m3]")
    shut: StrictBool = Field(False, description="No way out: the pressure rises with the temperature.")
    temperature_c: Temperature | None = Field(None, description=START)
    limit_c: Temperature | None = Field(None, description="Temperature not to be passed. [degC]")


class Pot(_Contents):
    """An open pot of water, with or without a lid."""

    kind: Literal["pot"] = Field(description="Kind of contents.")
    mass_kg: Mass = Field(description="Mass of water. [kg]")
    temperature_c: WaterTemperature | None = Field(None, description=START)
    lid: StrictBool = Field(False, description="The pot has a loose lid.")
    lid_leak: Share = Field(
        0.1, description="Share of the evaporation of an open surface that a lid lets out below boiling. [-]"
    )
    surface_m2: Annotated[float, Quantity("square metres", 0.0, 100.0, above=True)] | None = Field(
        None, description="Free surface of the water; left out: from the part's shape. [m2]"
    )
    humidity: Share = Field(0.5, description="Relative humidity of the air. [-]")


Contents = Annotated[
    Water | Oil | Flow | Melt | Block | Insulation | TrappedAir | Pot,
    Field(discriminator="kind"),
]
CONTENT_KINDS: dict[str, type[Table]] = {
    "water": Water,
    "oil": Oil,
    "flow": Flow,
    "melt": Melt,
    "solid": Block,
    "insulation": Insulation,
    "air": TrappedAir,
    "pot": Pot,
}


class Opening(Table):
    """A round opening of a tank, or several equal ones."""

    diameter_m: Annotated[float | Uncertain, Quantity("metres", 0.0, 1.0, is_uncertain=True)] = Field(
        description="Diameter; 0 is shut. [m]"
    )
    discharge_coefficient: Annotated[float | Uncertain, Quantity("", 0.01, 1.0, is_uncertain=True)] = Field(
        0.8, description="Flow over that of an ideal nozzle: about 0.6 to 0.84 sharp-edged, 0.95 rounded. [-]"
    )
    count: Annotated[int, Quantity("", 1, 1000, is_whole=True)] = Field(1, description="How many equal openings.")
    height_m: Annotated[float, Quantity("metres", 0.0, 100.0)] | None = Field(
        None, description="Height above the tank's floor, inside; left out: at the top. [m]"
    )
    lever_arm_m: Annotated[float, Quantity("metres", 0.0, 100.0)] = Field(
        0.0, description="Distance of the jet's line from the axis that the vessel turns about. [m]"
    )
    direction: Direction = Field(
        (1.0, 0.0, 0.0), description="Direction of the jet: [around the axis, outwards, along the axis]."
    )
    opens_at_pa: Pressure | None = Field(
        None, description="A valve that starts to open at this absolute pressure, fully open 10 % above it. [Pa]"
    )
    blocked_at_min: Annotated[float, Quantity("minutes", 0.0, 20000.0)] | None = Field(
        None, description="Time at which the opening is blocked, by scale for instance. [min]"
    )
