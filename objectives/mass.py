"""Mass of the wheel unit, part by part, its inertia about the axle and the time to print it. Derived here.

A printed part is a shell of ``walls`` lines all round and infill within; tyres, teeth and pinions are printed solid. The
carrier is two halves, each with its own shell. Fillets, axle holes and nut traps are left out.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from objectives.assessment import Assessment, Layout, MassBreakdown
from objectives.hub_body import hub_body
from objectives.layout import (
    CAP_THICKNESS,
    NUT_HEIGHT,
    HubRollerMount,
    axle_half_length,
    bearing_figure,
    hub_roller_mount,
    screw_figure,
    wall_thickness,
    window_half_width,
    window_inner_radius,
)
from objectives.scenario import Scenario
from objectives.wheel import BALL, BUSHED, PLAIN, WheelBatch

#: kg/m^3, of carbon and bearing steel (common practice)
STEEL_DENSITY = 7850.0
#: J/kg, elastic energy that a steel spring stores at its working load, closed coils included (common practice, 60 to 200)
SPRING_ENERGY_PER_MASS = 80.0
#: steel of a threaded shank and of a head with its socket over that of plain cylinders (ISO 261, ISO 4762, about)
THREAD_FILL, HEAD_FILL = 0.8, 0.9
#: kg/m^3, of a polymer bushing (POM, common practice)
BUSHING_DENSITY = 1410.0
#: outside over inside diameter of the shims beside the output rollers (DIN 988, about)
SHIM_RATIO = 2.0
#: share of the ring between bore and outside that is steel in a ball bearing (common practice)
BALL_BEARING_FILL = 0.6
#: area of a hexagon nut over the square of its thread: 2.5 for the hexagon, 1.7 d across flats, less pi/4 for the hole
NUT_AREA = 1.7
#: share of the full flow that a print keeps up, travel and starts included (common practice, 0.6 to 0.8)
FLOW_SHARE = 0.7
#: s, lost with every layer of a plate (common practice)
LAYER_TIME = 4.0
#: depth of a gear's rim below the pitch circle over its module: a tooth's root and as much again
GEAR_RIM_PER_MODULE = 3.5


class Solid(NamedTuple):
    """A body of revolution or what is left of it. Shapes (n,)."""

    volume: np.ndarray  # m^3, outline filled
    surface: np.ndarray  # m^2
    square_radius: np.ndarray  # m^2, inertia about the axle over mass


def ring(inside: np.ndarray, outside: np.ndarray, height: np.ndarray) -> Solid:
    """A flat ring about the axle: V = pi (r2^2 - r1^2) h, I/m = (r1^2 + r2^2)/2, from its radii and height [m], shapes (n,).

    >>> ring(np.array([0.0]), np.array([0.1]), np.array([0.01])).volume.round(9)
    array([0.00031416])
    """
    area = np.pi * (outside**2 - inside**2)
    return Solid(area * height, 2 * area + 2 * np.pi * (inside + outside) * height, (inside**2 + outside**2) / 2)


def printed_volume(volume: np.ndarray, surface: np.ndarray, wall: float, infill: float) -> np.ndarray:
    """Plastic in a printed part [m^3], shape (n,): a shell of the ``wall`` [m] on all its surface, infill (0..1) within."""
    shell = np.minimum(volume, surface * wall)
    return shell + infill * (volume - shell)


def window_area(inner_radius: np.ndarray, outside_radius: np.ndarray, half_width: np.ndarray) -> np.ndarray:
    """Area of a carrier window [m^2], shape (n,): from a straight inner edge to the rim's circle.

    b sqrt(R^2 - b^2) + R^2 asin(b/R) - 2 b r, from r and R and the half-width b [m], shapes (n,).

    >>> window_area(np.array([0.0]), np.array([1.0]), np.array([1.0])).round(6)
    array([1.570796])
    """
    reach = outside_radius**2
    chord = np.sqrt(reach - half_width**2)
    return half_width * chord + reach * np.arcsin(half_width / outside_radius) - 2 * half_width * inner_radius


def output_roller_volume(wheel: WheelBatch, inwards: np.ndarray) -> np.ndarray:
    """Volume inside the roller's outline moved ``inwards`` [m] everywhere [m^3], shape (n,): 8-point Gauss over r(z)^2."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    half = wheel.output_roller_length[:, None] / 2
    z = half * nodes
    rim = np.sqrt(wheel.wheel_radius[:, None] ** 2 - z**2) - wheel.pitch_radius[:, None]
    crown = wheel.crown[:, None]
    radius = (1 - crown) * wheel.output_roller_radius[:, None] + crown * rim - inwards[:, None]
    return np.pi * np.sum(weights * half * np.maximum(radius, 0) ** 2, axis=1)


def roller_bearing_outside(wheel: WheelBatch) -> np.ndarray:
    """Outside diameter of the ball bearing in a roller's core [m]: 2 d + 1 mm, the miniature series 68 (ISO 15, from memory).

    Bores of 2, 2.5, 3, 4, 5 and 6 mm have 5, 6, 7, 9, 11 and 13 mm.
    """
    return 2 * wheel.axle_diameter + 1e-3


def core_bore(wheel: WheelBatch) -> np.ndarray:
    """Diameter of the hole in a printed core [m]: the ball bearing, or a bushing of 1 mm; the axle for a plain bore."""
    bushing = wheel.axle_diameter + 2e-3
    return np.select([wheel.bore == PLAIN, wheel.bore == BALL], [wheel.axle_diameter, roller_bearing_outside(wheel)], bushing)


def tyre_mass(wheel: WheelBatch) -> np.ndarray:
    """Mass of the soft part of one output roller [kg], shape (n,)."""
    hole = np.where(
        wheel.bore == PLAIN,
        np.pi / 4 * wheel.axle_diameter**2 * wheel.output_roller_length,
        output_roller_volume(wheel, wheel.tyre_thickness),
    )
    return (output_roller_volume(wheel, np.zeros(len(wheel))) - hole) * wheel.output_density


def hub_rim(wheel: WheelBatch, mount: HubRollerMount, scenario: Scenario) -> Solid:
    """The rim of a hub that holds the bosses: a ring of parallelogram section about R_h, its pockets taken out."""
    reach = (mount.inner_half_length + mount.outer_half_length) / 2
    section = 2 * (reach * np.sin(wheel.skew_angle) + mount.boss_radius * np.cos(wheel.skew_angle))
    depth = 2 * mount.boss_radius
    around = 2 * np.pi * wheel.hub_roller_centre_radius
    clearance = scenario.printer.clearance
    pocket_length = wheel.hub_roller_length + 2 * mount.washer_thickness
    pocket_width = 2 * (wheel.hub_roller_radius + clearance)
    pockets = wheel.hub_roller_count * pocket_length * pocket_width
    edges = wheel.hub_roller_count * 2 * (pocket_length + pocket_width) * depth
    # bosses stand even where pockets would leave nothing between them
    least = wheel.hub_roller_count * np.pi * mount.boss_radius**2 * 2 * wheel.hub_axle_diameter
    volume = np.maximum(around * section * depth - pockets * depth, least)
    surface = np.maximum(2 * (around * section - pockets), 0) + 2 * around * depth + edges
    return Solid(volume, surface, wheel.hub_roller_centre_radius**2 + section**2 / 12)


def mass_breakdown(wheel: WheelBatch, layout: Layout, scenario: Scenario) -> MassBreakdown:
    """Masses, inertia about the axle, print time and count of printed parts. nan where a dimension is missing."""
    build, catalogue = scenario.build, scenario.catalogue
    plastic = catalogue.materials[build.material]
    wall = wall_thickness(scenario)
    half_shaft = build.shaft_diameter / 2
    with np.errstate(all="ignore"):
        mount = hub_roller_mount(wheel, scenario)
        n, m = wheel.output_roller_count, wheel.hub_roller_count
        bearing_radius = bearing_figure(layout.radial_bearing, catalogue, "outside") / 2
        axle_half = axle_half_length(wheel)

        def printed(solid: Solid) -> np.ndarray:
            return printed_volume(solid.volume, solid.surface, wall, build.infill)

        # printed of the build's material
        disc = ring(bearing_radius, layout.carrier_outside_radius, wheel.carrier_thickness)
        parted = disc.surface + 2 * np.pi * (layout.carrier_outside_radius**2 - bearing_radius**2)
        half_window = window_half_width(wheel, scenario)
        window_inside = window_inner_radius(wheel, scenario)
        window = window_area(window_inside, layout.carrier_outside_radius, half_window)
        edge = 2 * (layout.carrier_outside_radius - window_inside + half_window)
        carrier = Solid(
            disc.volume - n * window * wheel.carrier_thickness,
            parted - n * (4 * window - edge * wheel.carrier_thickness),
            disc.square_radius,
        )
        rim = hub_rim(wheel, mount, scenario)
        body = hub_body(wheel, layout, scenario)
        web = body.web_thickness
        length = layout.barrel_outside_offset - layout.barrel_inside_offset
        barrel = ring(bearing_radius, layout.barrel_radius, length)
        rim_inside = np.maximum(
            wheel.hub_roller_centre_radius - mount.inner_half_length * mount.axis_r - mount.boss_radius, layout.barrel_radius
        )
        disc_web = ring(layout.barrel_radius, rim_inside, web)
        below = layout.gear_offset - layout.gear_width / 2 - layout.barrel_inside_offset - web
        drum = ring(body.drum_inside_radius, body.drum_outside_radius, np.maximum(below, 0))
        gear_inside = np.maximum(layout.gear_pitch_radius - GEAR_RIM_PER_MODULE * wheel.gear_module, body.drum_inside_radius)
        gear_rim = ring(gear_inside, np.maximum(layout.gear_pitch_radius, gear_inside), layout.gear_width)
        gear_web = ring(body.drum_inside_radius, gear_inside, web)
        motor_shaft = np.nan_to_num(
            np.array([catalogue.motors[name].shaft_diameter for name in wheel.motor_names])[wheel.motor] / 2
        )
        pinion = ring(motor_shaft, layout.pinion_pitch_radius, layout.gear_width)
        cap = ring(np.full(len(wheel), half_shaft), bearing_radius, np.full(len(wheel), CAP_THICKNESS))
        core_hole = np.pi / 4 * core_bore(wheel) ** 2 * wheel.output_roller_length
        core = np.where(wheel.bore == PLAIN, 0.0, output_roller_volume(wheel, wheel.tyre_thickness) - core_hole)
        structure = {
            "carrier": printed(carrier),
            "hub_bodies": 2 * (printed(rim) + printed(barrel) + printed(disc_web) + printed(drum)),
            "gears": 2 * (gear_rim.volume + printed(gear_web)),
            "pinions": 2 * pinion.volume,
            "caps": 2 * cap.volume,
            "output_cores": n * np.maximum(core, 0),
        }
        parts = {name: plastic.density * volume for name, volume in structure.items()}
        # soft parts
        parts["output_tyres"] = n * tyre_mass(wheel)
        hub_roller = ring(wheel.hub_axle_diameter / 2, wheel.hub_roller_radius, wheel.hub_roller_length)
        parts["hub_rollers"] = 2 * m * hub_roller.volume * wheel.hub_density
        # bought
        parts["output_axles"] = n * STEEL_DENSITY * np.pi / 4 * wheel.axle_diameter**2 * 2 * axle_half
        small_ring = np.pi / 4 * (roller_bearing_outside(wheel) ** 2 - wheel.axle_diameter**2)
        small = 2 * BALL_BEARING_FILL * STEEL_DENSITY * small_ring * (wheel.axle_diameter / 2 + 5e-4)
        parts["roller_bearings"] = np.where(wheel.bore == BALL, n * small, 0.0)
        parts["hub_bearings"] = 5 * bearing_figure(layout.radial_bearing, catalogue, "mass") + 2 * bearing_figure(
            layout.thrust_bearing, catalogue, "mass"
        )
        screw = wheel.hub_axle_diameter
        bolt, _, washer = fastener_masses(screw, 2 * mount.inner_half_length, scenario)
        parts["hub_roller_bolts"] = 2 * m * (bolt + 2 * washer)
        clamp, clamp_nut, _ = fastener_masses(np.full(len(wheel), 3e-3), wheel.carrier_thickness, scenario)
        parts["carrier_screws"] = n * (clamp + clamp_nut)
        shim = np.pi / 4 * wheel.axle_diameter**2 * (SHIM_RATIO**2 - 1) * build.side_washer
        parts["side_shims"] = 2 * n * STEEL_DENSITY * shim
        bushing = core_hole - np.pi * (wheel.axle_diameter / 2 + wheel.bore_play) ** 2 * wheel.output_roller_length
        parts["core_bushings"] = np.where(wheel.bore == BUSHED, n * BUSHING_DENSITY * bushing, 0.0)
        shaft_area = np.pi * half_shaft**2
        parts["shaft"] = STEEL_DENSITY * shaft_area * 2 * layout.unit_half_width
        parts["shaft_nuts"] = np.full(
            len(wheel), 2 * STEEL_DENSITY * NUT_AREA * NUT_HEIGHT * build.shaft_diameter**3
        )
        parts["springs"] = wheel.preload**2 / wheel.preload_stiffness / SPRING_ENERGY_PER_MASS
        parts["motors"] = 2 * np.array([catalogue.motors[name].mass for name in wheel.motor_names])[wheel.motor]

        roller_radius2 = wheel.pitch_radius**2 + wheel.output_roller_radius**2 / 4 + wheel.output_roller_length**2 / 12
        about_rim = sum(parts[name] for name in (
            "output_tyres", "output_cores", "output_axles", "roller_bearings", "core_bushings", "side_shims"
        ))  # fmt: skip
        carrier_inertia = plastic.density * carrier_second_moment(disc, window, window_inside, layout, wheel) * (
            structure["carrier"] / carrier.volume
        )
        inertia = (
            carrier_inertia
            + about_rim * roller_radius2
            + parts["carrier_screws"] * window_inside**2
            + (parts["hub_rollers"] + parts["hub_roller_bolts"]) * wheel.hub_roller_centre_radius**2
            + 2 * plastic.density * (
                printed(rim) * rim.square_radius + printed(barrel) * barrel.square_radius + printed(drum) * drum.square_radius
                + printed(disc_web) * disc_web.square_radius + gear_rim.volume * gear_rim.square_radius
                + printed(gear_web) * gear_web.square_radius
            )
        )
        count = 2 + 2 + 2 + 2 + n * np.where(wheel.bore == PLAIN, 1, 2) + 2 * m
        return MassBreakdown(
            total=sum(parts.values(), np.zeros(len(wheel))),
            parts=parts,
            wheel_inertia=inertia,
            print_time=print_time(wheel, layout, sum(structure.values()), parts, scenario),
            part_count=count,
        )


def fastener_masses(diameter: np.ndarray, length: np.ndarray, scenario: Scenario) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Masses of a screw with a threaded shank of ``length``, its nut and a washer [kg], shapes (n,), from diameters [m]."""
    figures = ("head_diameter", "head_height", "washer_outside", "washer_thickness")
    head, height, outside, thickness = (screw_figure(diameter, scenario.catalogue, figure) for figure in figures)
    screw = STEEL_DENSITY * np.pi / 4 * (THREAD_FILL * diameter**2 * length + HEAD_FILL * head**2 * height)
    nut = STEEL_DENSITY * NUT_AREA * diameter**2 * NUT_HEIGHT * diameter
    return screw, nut, STEEL_DENSITY * np.pi / 4 * (outside**2 - diameter**2) * thickness


def carrier_second_moment(
    disc: Solid, window: np.ndarray, window_inside: np.ndarray, layout: Layout, wheel: WheelBatch
) -> np.ndarray:
    """Integral of r^2 over the carrier's outline [m^5], shape (n,): the disc less its windows, each taken about its middle."""
    middle = (window_inside + layout.carrier_outside_radius) / 2
    depth = layout.carrier_outside_radius - window_inside
    about_axle = middle**2 + (depth**2 + (window / depth) ** 2) / 12
    return disc.volume * disc.square_radius - wheel.output_roller_count * window * wheel.carrier_thickness * about_axle


def print_time(
    wheel: WheelBatch, layout: Layout, structure_volume: np.ndarray, parts: dict[str, np.ndarray], scenario: Scenario
) -> np.ndarray:
    """Time to print all parts [s], shape (n,).

    V/(0.7 Q) for each material, Q the lower of what the printer and the material allow, and 4 s a layer over six plates:
    two carrier halves, two hubs, output rollers and hub rollers, standing. A material that is cast or bought, with no flow
    limit, takes the printer's flow: its mould is not free either.
    """
    materials = scenario.catalogue.materials
    tyre_flow = np.array([min(materials[name].flow_limit, scenario.printer.flow) for name in wheel.tyre_names])
    plastic_flow = min(materials[scenario.build.material].flow_limit, scenario.printer.flow)
    melting = (
        structure_volume / plastic_flow
        + parts["output_tyres"] / wheel.output_density / tyre_flow[wheel.output_tyre]
        + parts["hub_rollers"] / wheel.hub_density / tyre_flow[wheel.hub_tyre]
    )
    hub_height = layout.barrel_outside_offset - layout.barrel_inside_offset
    height = wheel.carrier_thickness + 2 * hub_height + wheel.output_roller_length + wheel.hub_roller_length
    return melting / FLOW_SHARE + LAYER_TIME * height / scenario.build.layer


def mass(assessment: Assessment) -> np.ndarray:
    """Mass of the wheel unit [kg], shape (n,): printed parts, tyres, axles, bearings, screws, gears, shaft and motors."""
    return assessment.mass.total
