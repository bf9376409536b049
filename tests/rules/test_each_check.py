"""Each check on both sides of its limit, and with nothing said: `missing`, never `clear`."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import pytest

from audit.rules import ColourSeen, CpcSeen, FittingSeen, PhotoRef, catalogue
from tests.rules.jobs import BATH, answer, job

REF = PhotoRef("F-inside.jpg", (1, 2, 3, 4), 0)


def seen(*cpc: str, colours: tuple[str, ...] = (), **more: Any) -> dict[str, FittingSeen]:
    return {
        "F": FittingSeen(
            "F",
            cpc=tuple(CpcSeen(c, REF) for c in cpc),  # type: ignore[arg-type]
            colours=tuple(ColourSeen(c, REF) for c in colours),
            **more,
        )
    }


IN1 = {"x_m": 0.8, "y_m": 0.3}
IN2 = {"x_m": 0.8, "y_m": 1.0}
OUT = {"x_m": 0.8, "y_m": 2.0}
TWO = {"leg": [{"to": "F", "length_m": 10}, {"to": "X", "length_m": 2}]}
HOUSE = {"use": "house", "storeys": 2, "top_floor_height_m": 2.7}
BED = {"above": "bedroom", "separates_dwellings": False}
POOL = {"kind": "bathroom", "ceiling_m": 2.2}

# check, state ("absent": not asked), what is declared
CASES: list[tuple[str, str, dict[str, Any]]] = [
    ("bath-described", "missing", {"room": POOL}),
    ("bath-described", "clear", {"room": BATH}),
    ("bath-described", "unsure", {"room": {**BATH, "outlet": [{"at_m": [0, 0], "over": "bath"}]}}),
    ("bath-described", "missing", {"room": {**BATH, "outlet": [{"at_m": [0, 0], "height_m": 2}]}}),
    ("bath-described", "absent", {}),
    ("zone-known", "clear", {"room": BATH, "fitting": IN1}),
    ("zone-known", "clear", {"room": BATH, "fitting": OUT}),
    ("zone-known", "unsure", {"room": BATH, "fitting": {"x_m": 0.8, "y_m": 1.31}}),
    ("zone-known", "unsure", {"room": BATH, "fitting": {"from_bath_m": 0.61}}),
    ("zone-known", "clear", {"room": BATH, "fitting": {"from_bath_m": 0.63}}),
    ("zone-known", "missing", {"room": BATH}),
    ("zone-known", "missing", {"room": {"kind": None}}),
    ("zone-known", "absent", {"fitting": IN1}),
    ("zone-water", "flag", {"room": BATH, "fitting": {**IN1, "ip": "IP23"}}),
    ("zone-water", "clear", {"room": BATH, "fitting": {**IN1, "ip": "IP44"}}),
    ("zone-water", "unsure", {"room": BATH, "fitting": {**IN1, "ip": "IPX7"}}),
    ("zone-water", "unsure", {"room": BATH, "fitting": {"from_bath_m": 0.61, "ip": "IP20"}}),
    ("zone-water", "flag", {"room": BATH, "fitting": {"from_bath_m": 0.57, "ip": "IP20"}}),
    ("zone-water", "absent", {"room": BATH, "fitting": {"from_bath_m": 0.63, "ip": "IP20"}}),
    ("zone-water", "missing", {"room": BATH, "fitting": IN1}),
    ("zone-water", "missing", {"room": BATH, "fitting": {"ip": "IP65"}}),
    ("zone-jets", "flag", {"room": {**BATH, "jets": True}, "fitting": {**IN2, "ip": "IP44"}}),
    ("zone-jets", "clear", {"room": {**BATH, "jets": True}, "fitting": {**IN2, "ip": "IP45"}}),
    ("zone-jets", "clear", {"room": BATH, "fitting": {**IN2, "ip": "IP65"}}),
    ("zone-jets", "missing", {"room": BATH, "fitting": {**IN2, "ip": "IP44"}}),
    ("zone-jets", "absent", {"room": {**BATH, "jets": False}, "fitting": {**IN2, "ip": "IP44"}}),
    ("zone-voltage", "clear", {"room": BATH, "fitting": {**IN1, "supply": "selv", "voltage_v": 25}}),
    ("zone-voltage", "flag", {"room": BATH, "fitting": {**IN1, "supply": "selv", "voltage_v": 26}}),
    ("zone-voltage", "clear",
     {"room": BATH, "fitting": {**IN1, "supply": "selv", "voltage_v": 48, "current": "dc"}}),
    ("zone-voltage", "unsure", {"room": BATH, "fitting": {**IN1, "supply": "mains"}}),
    ("zone-voltage", "clear",
     {"room": BATH, "fitting": {**IN1, "supply": "mains", "maker_zones": ["1", "2"]}}),
    ("zone-voltage", "flag",
     {"room": BATH, "fitting": {**IN1, "supply": "mains", "maker_zones": ["2"]}}),
    ("zone-voltage", "missing", {"room": BATH, "fitting": IN1}),
    ("zone-voltage", "absent", {"room": BATH, "fitting": IN2}),
    ("zone-voltage", "flag",
     {"room": BATH, "fitting": {**IN1, "on": "wall", "height_m": 0.3, "supply": "mains"}}),
    ("zone-voltage", "clear", {"room": BATH, "fitting": {
        **IN1, "on": "wall", "height_m": 0.3, "supply": "selv", "voltage_v": 12}}),
    ("zone-voltage", "flag", {"room": BATH, "fitting": {
        **IN1, "on": "wall", "height_m": 0.3, "supply": "selv", "voltage_v": 12.5}}),
    ("zone-source", "clear", {"room": BATH, "fitting": {**IN2, "supply": "selv", "source_zone": "outside"}}),
    ("zone-source", "flag", {"room": BATH, "fitting": {**IN2, "supply": "selv", "source_zone": "2"}}),
    ("zone-source", "missing", {"room": BATH, "fitting": {**IN2, "supply": "selv"}}),
    ("zone-rcd", "clear", {"room": BATH, "circuit": {"rcd": True, "rcd_ma": 30}}),
    ("zone-rcd", "flag", {"room": BATH, "circuit": {"rcd": True, "rcd_ma": 31}}),
    ("zone-rcd", "flag", {"room": BATH, "circuit": {"rcd": False}}),
    ("zone-rcd", "missing", {"room": BATH}),
    ("bonding", "clear", {"room": {**BATH, "bonding": "supplementary"}}),
    ("bonding", "clear", {"room": {**BATH, "bonding": "conditions met"}}),
    ("bonding", "flag", {"room": {**BATH, "bonding": "none"}}),
    ("bonding", "missing", {"room": BATH}),
    ("ip-solids", "clear", {"fitting": {"ip": "IP20"}}),
    ("ip-solids", "flag", {"fitting": {"ip": "IP10"}}),
    ("ip-solids", "clear", {"fitting": {"ip": "IP10B"}}),
    ("ip-solids", "unsure", {"fitting": {"ip": "IPX4"}}),
    ("ip-solids", "missing", {}),
    ("ip-side", "clear", {"room": BATH, "fitting": {**IN1, "ip": "IP65", "ip_side": "whole"}}),
    ("ip-side", "unsure", {"room": BATH, "fitting": {**IN1, "ip": "IP65", "ip_side": "face"}}),
    ("ip-side", "missing", {"room": BATH, "fitting": {**IN1, "ip": "IP65"}}),
    ("ip-seal", "clear", {"room": BATH, "fitting": {**IN1, "ip": "IP65", "ip_seal_seated": True}}),
    ("ip-seal", "flag", {"room": BATH, "fitting": {**IN1, "ip": "IP65", "ip_seal_seated": False}}),
    ("ip-seal", "missing", {"room": BATH, "fitting": {**IN1, "ip": "IP65"}}),
    ("class-one-earth", "flag", {"fitting": {"protection_class": "I", "earth_terminal": False}}),
    ("class-one-earth", "flag", {
        "fitting": {"protection_class": "I", "earth_terminal": True, "cpc_in_cable": True},
        "seen": seen("cut_short", earth_terminal=True)}),
    ("class-one-earth", "clear", {
        "fitting": {"protection_class": "I", "earth_terminal": True, "cpc_in_cable": True},
        "seen": seen("sleeved", earth_terminal=True)}),
    ("class-one-earth", "unsure",
     {"fitting": {"protection_class": "I", "earth_terminal": True, "cpc_in_cable": True}}),
    ("class-one-earth", "missing", {"fitting": {"protection_class": "I"}}),
    ("class-one-earth", "missing", {}),
    ("class-one-earth", "absent", {"fitting": {"protection_class": "II"}}),
    ("class-two", "clear", {"fitting": {"protection_class": "II", "earth_terminal": False}}),
    ("class-two", "unsure", {"fitting": {"protection_class": "II", "earth_terminal": True}}),
    ("class-two", "missing", {"fitting": {"protection_class": "II"}}),
    ("class-three", "clear", {"fitting": {"protection_class": "III", "supply": "selv", "voltage_v": 50}}),
    ("class-three", "flag", {"fitting": {"protection_class": "III", "supply": "selv", "voltage_v": 51}}),
    ("class-three", "clear",
     {"fitting": {"protection_class": "III", "supply": "selv", "voltage_v": 120, "current": "dc"}}),
    ("class-three", "flag", {"fitting": {"protection_class": "III", "supply": "mains"}}),
    ("class-three", "missing", {"fitting": {"protection_class": "III", "supply": "selv"}}),
    ("lamp-power", "clear", {"fitting": {"lamp_w": 7, "max_lamp_w": 7}}),
    ("lamp-power", "flag", {"fitting": {"lamp_w": 7.1, "max_lamp_w": 7}}),
    ("lamp-power", "missing", {"fitting": {"lamp_w": 7}}),
    ("lamp-power", "absent", {"fitting": {"load_w": 7}}),
    ("rated-ambient", "clear", {"fitting": {"rated_ambient_c": 35, "ambient_c": 35}}),
    ("rated-ambient", "flag", {"fitting": {"rated_ambient_c": 35, "ambient_c": 36}}),
    ("rated-ambient", "missing", {"fitting": {"rated_ambient_c": 35}}),
    ("insulation-cover", "clear", {"fitting": {"insulation_over": True, "insulation_cover": "allowed"}}),
    ("insulation-cover", "flag",
     {"fitting": {"insulation_over": True, "insulation_cover": "not allowed"}}),
    ("insulation-cover", "flag",
     {"room": {"insulation_over": True}, "fitting": {"insulation_cover": "not allowed"}}),
    ("insulation-cover", "missing", {"fitting": {"insulation_over": True}}),
    ("insulation-clearance", "clear", {"fitting": {"clearance_mm": 50, "clearance_found_mm": 50}}),
    ("insulation-clearance", "flag", {"fitting": {"clearance_mm": 50, "clearance_found_mm": 49}}),
    ("insulation-clearance", "missing", {"fitting": {"clearance_mm": 50}}),
    ("lit-distance", "clear", {"fitting": {"lit_distance_m": 0.3, "lit_distance_found_m": 0.3}}),
    ("lit-distance", "flag", {"fitting": {"lit_distance_m": 0.3, "lit_distance_found_m": 0.29}}),
    ("lit-distance", "flag", {"fitting": {"lamp_w": 100, "lit_distance_found_m": 0.49}}),
    ("lit-distance", "clear", {"fitting": {"lamp_w": 100, "lit_distance_found_m": 0.5}}),
    ("lit-distance", "flag", {"fitting": {"lamp_w": 101, "lit_distance_found_m": 0.5}}),
    ("lit-distance", "missing", {"fitting": {"lamp_w": 7}}),
    ("mounting-surface", "clear", {"fitting": {"flammable_surface": "suitable"}}),
    ("mounting-surface", "flag", {
        "fitting": {"flammable_surface": "not suitable"}, "room": {"ceiling_surface": "timber"}}),
    ("mounting-surface", "unsure", {
        "fitting": {"flammable_surface": "not suitable"}, "room": {"ceiling_surface": "plasterboard"}}),
    ("mounting-surface", "missing", {}),
    ("plate-confirmed", "clear",
     {"fitting": {"plate_confirmed_by": "S"}, "seen": seen(views=frozenset({"plate"}))}),
    ("plate-confirmed", "unsure", {"fitting": {"plate_confirmed_by": "S"}}),
    ("plate-confirmed", "unsure", {"seen": seen(views=frozenset({"plate"}))}),
    ("plate-confirmed", "missing", {}),
    ("facts-agree", "flag", {"fitting": {"supply": "mains", "voltage_v": 12}}),
    ("facts-agree", "flag", {"fitting": {"protection_class": "III", "supply": "mains"}}),
    ("facts-agree", "absent", {"fitting": {"supply": "mains", "voltage_v": 230}}),
    ("facts-agree", "absent", {"fitting": {"supply": "mains"}}),
    ("facts-photo", "flag", {"fitting": {"cpc_sleeved": True}, "seen": seen("bare")}),
    ("facts-photo", "flag", {"fitting": {"cables": 1}, "seen": seen(cables=2, cables_ref=REF)}),
    ("facts-photo", "flag", {"fitting": {"colours": "harmonised"}, "seen": seen(colours=("red",))}),
    ("facts-photo", "absent", {"fitting": {"cpc_sleeved": True}, "seen": seen("sleeved")}),
    ("facts-photo", "absent", {"fitting": {"cables": 2}, "seen": seen(cables=1, cables_ref=REF)}),
    ("fire-needed", "clear", {"room": BED, "building": HOUSE}),
    ("fire-needed", "clear", {"room": {"fire_needed_min": 60}}),
    ("fire-needed", "unsure", {
        "room": {"above": "other dwelling"}, "building": {"use": "flats", "top_floor_height_m": 4.9},
        }),
    ("fire-needed", "unsure", {
        "room": BED, "building": {"use": "house", "storeys": 3, "top_floor_height_m": 5.1}}),
    ("fire-needed", "clear", {
        "room": BED, "building": {"use": "house", "storeys": 3, "top_floor_height_m": 5.0}}),
    ("fire-needed", "missing", {"room": BED, "building": {"use": "house"}}),
    ("fire-needed", "missing", {"building": HOUSE}),
    ("fire-needed", "missing", {"room": BED, "building": HOUSE, "region": "international"}),
    ("fire-needed", "missing", {"room": BED, "building": HOUSE, "region": "gb-sct"}),
    ("fire-rating", "clear", {"room": BED, "building": HOUSE, "fitting": {"fire_min": 30}}),
    ("fire-rating", "flag", {"room": BED, "building": HOUSE, "fitting": {"fire_min": 29}}),
    ("fire-rating", "flag", {"room": BED, "building": HOUSE, "fitting": {"fire_min": 0}}),
    ("fire-rating", "missing", {"room": BED, "building": HOUSE}),
    ("fire-rating", "missing", {"fitting": {"fire_min": 90}}),
    ("fire-rating", "unsure", {
        "room": BED, "building": {"use": "house", "storeys": 3, "top_floor_height_m": 5.1},
        "fitting": {"fire_min": 30}}),
    ("fire-rating", "absent",
     {"room": {"above": "loft"}, "building": HOUSE, "fitting": {"fire_min": 0}}),
    ("fire-construction", "clear", {
        "room": {**BED, "floor": "i-joist"}, "building": HOUSE,
        "fitting": {"fire_min": 30, "fire_tested_in": "solid joist | i-joist"}}),
    ("fire-construction", "flag", {
        "room": {**BED, "floor": "i-joist"}, "building": HOUSE,
        "fitting": {"fire_min": 90, "fire_tested_in": "solid joist"}}),
    ("fire-construction", "missing", {
        "room": BED, "building": HOUSE, "fitting": {"fire_min": 30, "fire_tested_in": "solid joist"}}),
    ("fire-construction", "missing",
     {"room": {**BED, "floor": "concrete"}, "building": HOUSE, "fitting": {"fire_min": 30}}),
    ("fire-layers", "clear", {
        "room": {**BED, "layers": 2}, "building": HOUSE,
        "fitting": {"fire_min": 30, "fire_tested_layers": 2}}),
    ("fire-layers", "flag", {
        "room": {**BED, "layers": 1}, "building": HOUSE,
        "fitting": {"fire_min": 30, "fire_tested_layers": 2}}),
    ("fire-layers", "missing", {"room": BED, "building": HOUSE, "fitting": {"fire_min": 30}}),
    ("fire-room-above", "flag", {"room": {"above": "bedroom"}, "fitting": {"fire_min": 0}}),
    ("fire-room-above", "clear", {"room": {"above": "bedroom"}, "fitting": {"fire_min": 30}}),
    ("fire-room-above", "unsure", {"room": {"above": "bathroom"}, "fitting": {"fire_min": 0}}),
    ("fire-room-above", "unsure",
     {"room": {"above": "kitchen"}, "fitting": {"fire_min": 0}, "region": "international"}),
    ("fire-room-above", "flag", {"room": {"above": "kitchen"}, "fitting": {"fire_min": 0}}),
    ("fire-room-above", "unsure", {"room": {"above": "loft"}, "fitting": {"fire_min": 0}}),
    ("fire-room-above", "missing", {"fitting": {"fire_min": 0}}),
    ("fire-room-above", "missing", {"room": {"above": "bathroom"}}),
    ("fire-throughout", "clear", {"fitting": {"fire_min": 30}}),
    ("fire-throughout", "flag", {"fitting": {"fire_min": 0}}),
    ("fire-throughout", "missing", {}),
    ("fire-cables", "clear", {"room": {"cables_supported": "metal"}}),
    ("fire-cables", "flag", {"room": {"cables_supported": "plastic"}}),
    ("fire-cables", "unsure", {"room": {"cables_supported": "laid"}}),
    ("fire-cables", "missing", {}),
    ("fire-penetrations", "clear", {"room": {"penetrations_sealed": True}}),
    ("fire-penetrations", "flag", {"room": {"penetrations_sealed": False}}),
    ("fire-penetrations", "missing", {}),
    ("hole-size", "clear", {"fitting": {"hole_mm": 72, "cut_out_mm": 70, "cut_out_plus_mm": 2}}),
    ("hole-size", "flag", {"fitting": {"hole_mm": 72.5, "cut_out_mm": 70, "cut_out_plus_mm": 2}}),
    ("hole-size", "clear", {"fitting": {"hole_mm": 73, "cut_out_mm": 70}}),
    ("hole-size", "flag", {"fitting": {"hole_mm": 73.5, "cut_out_mm": 70}}),
    ("hole-size", "missing", {"fitting": {"hole_mm": 73}}),
    ("hole-covered", "clear", {"fitting": {"hole_covered": True}}),
    ("hole-covered", "flag", {"fitting": {"hole_covered": False}}),
    ("hole-covered", "missing", {}),
    ("hole-spacing", "clear", {"room": {"above": "bedroom"}, "fitting": {"next_hole_m": 0.78}}),
    ("hole-spacing", "unsure", {"room": {"above": "bedroom"}, "fitting": {"next_hole_m": 0.76}}),
    ("hole-spacing", "flag", {"room": {"above": "bedroom"}, "fitting": {"next_hole_m": 0.72}}),
    ("hole-spacing", "flag", {"room": {"above": "bedroom"}, "fitting": {"hole_mm": 101}}),
    ("hole-spacing", "missing", {"fitting": {"next_hole_m": 0.5}}),
    ("hole-spacing", "absent", {"room": {"above": "loft"}, "fitting": {"next_hole_m": 0.5}}),
    ("hole-spacing", "absent",
     {"room": {"above": "bedroom"}, "fitting": {"next_hole_m": 0.5}, "region": "international"}),
    ("cpc-at-point", "flag", {"fitting": {"cpc_in_cable": False}}),
    ("cpc-at-point", "flag", {"fitting": {"cpc_in_cable": True}, "seen": seen("sleeved", "cut_short")}),
    ("cpc-at-point", "clear", {"seen": seen("sleeved")}),
    ("cpc-at-point", "unsure", {"fitting": {"cpc_in_cable": True}}),
    ("cpc-at-point", "missing", {}),
    ("cpc-at-point", "missing", {"seen": seen("not_seen")}),
    ("cpc-carried-on", "flag", {"circuit": TWO, "fitting": {"cpc_carried_on": False}}),
    ("cpc-carried-on", "clear", {"circuit": {**TWO, "r1r2_ohm": 0.4}, "fitting": {"cpc_carried_on": True}}),
    ("cpc-carried-on", "unsure", {"circuit": TWO, "fitting": {"cpc_carried_on": True}}),
    ("cpc-carried-on", "flag", {
        "circuit": {**TWO, "r1r2_ohm": 0.4}, "fitting": {"cpc_carried_on": True},
        "seen": seen("cut_short")}),
    ("cpc-carried-on", "missing", {"circuit": TWO}),
    ("cpc-carried-on", "absent", {"fitting": {"cpc_carried_on": False}}),
    ("cpc-joint-place", "clear",
     {"circuit": TWO, "fitting": {"earth_terminal": False, "cpc_joint": "inside"}}),
    ("cpc-joint-place", "flag",
     {"circuit": TWO, "fitting": {"earth_terminal": False, "cpc_joint": "outside"}}),
    ("cpc-joint-place", "flag",
     {"circuit": TWO, "fitting": {"earth_terminal": False, "cpc_joint": "none"}}),
    ("cpc-joint-place", "missing", {"circuit": TWO, "fitting": {"earth_terminal": False}}),
    ("cpc-joint-place", "absent", {"circuit": TWO, "fitting": {"earth_terminal": True}}),
    ("colours-at-fitting", "clear", {"fitting": {"colours": "harmonised"}}),
    ("colours-at-fitting", "flag", {"fitting": {"colours": "mixed"}}),
    ("colours-at-fitting", "flag", {"seen": seen(colours=("brown", "red"))}),
    ("colours-at-fitting", "unsure", {"seen": seen(colours=("red", "black"))}),
    ("colours-at-fitting", "missing", {"seen": seen(colours=("black", "blue"))}),
    ("mixed-colours-notice", "flag",
     {"fitting": {"colours": "mixed"}, "info": {"mixed_colours_notice": False}}),
    ("mixed-colours-notice", "clear",
     {"fitting": {"colours": "mixed"}, "info": {"mixed_colours_notice": True}}),
    ("mixed-colours-notice", "missing", {"fitting": {"colours": "mixed"}}),
    ("mixed-colours-notice", "missing", {}),
    ("mixed-colours-notice", "absent", {"fitting": {"colours": "harmonised"}}),
    ("switched-line", "clear", {"fitting": {"switched_line": "brown"}}),
    ("switched-line", "clear", {"fitting": {"switched_line": "blue", "switched_line_marked": True}}),
    ("switched-line", "flag", {"fitting": {"switched_line": "blue", "switched_line_marked": False}}),
    ("switched-line", "flag",
     {"fitting": {"switched_line": "green-and-yellow", "switched_line_marked": True}}),
    ("switched-line", "missing", {"fitting": {"switched_line": "grey"}}),
    ("switched-line", "missing", {}),
    ("polarity-fitting", "clear", {"fitting": {"polarity": "right"}}),
    ("polarity-fitting", "flag", {"fitting": {"polarity": "wrong"}}),
    ("polarity-fitting", "missing", {}),
    ("joint-enclosed", "clear", {"fitting": {"joint_enclosed": True}}),
    ("joint-enclosed", "flag", {"fitting": {"joint_enclosed": False}}),
    ("joint-enclosed", "missing", {}),
    ("joint-access", "clear", {"fitting": {"joint_access": "accessible"}}),
    ("joint-access", "flag", {"fitting": {"joint_access": "not accessible"}}),
    ("joint-access", "clear",
     {"fitting": {"joint_access": "maintenance free", "joint_used_as_instructed": True}}),
    ("joint-access", "flag",
     {"fitting": {"joint_access": "maintenance free", "joint_used_as_instructed": False}}),
    ("joint-access", "missing", {"fitting": {"joint_access": "maintenance free"}}),
    ("cable-strain", "clear", {"fitting": {"cable_grip": True}}),
    ("cable-strain", "flag", {"fitting": {"cable_grip": False}}),
    ("cable-strain", "unsure", {"fitting": {"cable_grip": False, "clip_mm": 250}}),
    ("cable-strain", "missing", {}),
    ("cable-clips", "clear", {"fitting": {"clip_mm": 250}}),
    ("cable-clips", "flag", {"fitting": {"clip_mm": 251}}),
    ("cable-clips", "clear", {"fitting": {"clip_mm": 400, "clip_run": "vertical"}}),
    ("cable-clips", "flag", {"fitting": {"clip_mm": 401, "clip_run": "vertical"}}),
    ("cable-clips", "clear", {"fitting": {"clip_mm": 300, "cable": "2.5 T&E"}}),
    ("cable-clips", "flag", {"fitting": {"clip_mm": 300, "cable": "1.5 T&E"}}),
    ("cable-clips", "missing", {}),
    ("terminal-conductors", "clear", {"fitting": {"terminal_max_conductors": 2, "terminal_conductors": 2}}),
    ("terminal-conductors", "flag", {"fitting": {"terminal_max_conductors": 2, "terminal_conductors": 3}}),
    ("terminal-conductors", "missing", {"fitting": {"terminal_conductors": 3}}),
    ("strip-length", "clear", {"fitting": {"strip_length_mm": 11, "stripped_mm": 12}}),
    ("strip-length", "flag", {"fitting": {"strip_length_mm": 11, "stripped_mm": 12.1}}),
    ("strip-length", "flag", {"fitting": {"strip_length_mm": 11, "stripped_mm": 9.9}}),
    ("strip-length", "clear",
     {"fitting": {"strip_length_mm": 11, "strip_tolerance_mm": 2, "stripped_mm": 13}}),
    ("strip-length", "missing", {"fitting": {"stripped_mm": 11}}),
    ("sheath-declared", "flag", {"fitting": {"sheath_enters": False}}),
    ("sheath-declared", "absent", {"fitting": {"sheath_enters": True}}),
    ("sheath-declared", "unsure", {"fitting": {"sheath_enters": True, "factory_lead": True}}),
    ("circuit-declared", "clear", {}),
    ("circuit-declared", "missing", {"circuit": {"leg": []}}),
    ("design-load", "clear", {"fitting": {"load_w": 1000, "power_factor": 1}}),
    ("design-load", "flag", {"fitting": {"load_w": 1000, "power_factor": 0.7}}),
    ("design-load", "missing", {}),
    ("design-load", "missing", {"fitting": {"load_w": 7}, "circuit": {"rating_a": None}}),
    ("cable-capacity", "clear", {"circuit": {"method": "103", "rating_a": 10}}),
    ("cable-capacity", "flag", {"circuit": {"method": "103", "rating_a": 10.5}}),
    ("cable-capacity", "clear", {"circuit": {"method": "C", "rating_a": 10, "insulated_m": 0.5}}),
    ("cable-capacity", "flag", {"circuit": {"method": "C", "rating_a": 10.5, "insulated_m": 0.5}}),
    ("cable-capacity", "clear", {"circuit": {"method": "C", "rating_a": 16, "insulated_m": 0.49}}),
    ("cable-capacity", "missing", {}),
    ("cable-capacity", "missing", {"circuit": {"method": "100"}, "region": "international"}),
    ("cable-capacity", "unsure", {"circuit": {"method": "C", "device": "fuse bs 3036", "rating_a": 5}}),
    ("volt-drop", "clear", {
        "fitting": {"load_w": 690, "power_factor": 0.5}, "circuit": {"leg": [{"to": "F", "length_m": 39.6}]}}),
    ("volt-drop", "flag", {
        "fitting": {"load_w": 690, "power_factor": 0.5}, "circuit": {"leg": [{"to": "F", "length_m": 39.7}]}}),
    ("volt-drop", "missing", {"fitting": {"load_w": 7}, "circuit": {"leg": [{"to": "F"}]}}),
    ("volt-drop", "missing", {}),
    ("cable-agrees", "clear", {"fitting": {"cable": "1.5 T&E"}}),
    ("cable-agrees", "flag", {"fitting": {"cable": "1.0 T&E"}}),
    ("cable-agrees", "unsure", {"fitting": {"cable": "wire"}}),
    ("cable-agrees", "missing", {}),
    ("r1-r2", "clear", {"circuit": {"r1r2_ohm": 0.302}}),
    ("r1-r2", "clear", {"circuit": {"r1r2_ohm": 0.46}}),
    ("r1-r2", "flag", {"circuit": {"r1r2_ohm": 0.47}}),
    ("r1-r2", "clear", {"circuit": {"r1r2_ohm": 0.15}}),
    ("r1-r2", "unsure", {"circuit": {"r1r2_ohm": 0.13}}),
    ("r1-r2", "unsure", {"circuit": {"r1r2_ohm": 0.3, "leg": [{"to": "F"}]}}),
    ("r1-r2", "missing", {}),
    ("zs", "clear", {"circuit": {"zs_ohm": 5.82}}),
    ("zs", "unsure", {"circuit": {"zs_ohm": 5.83}}),
    ("zs", "flag", {"circuit": {"zs_ohm": 7.29}}),
    ("zs", "missing", {}),
    ("zs", "missing", {"circuit": {"zs_ohm": 1, "device": None}}),
    ("zs", "unsure", {"circuit": {"zs_ohm": 1, "device": "fuse bs 3036"}}),
    ("zs-adds-up", "clear", {"circuit": {"zs_ohm": 0.95, "ze_ohm": 0.35, "r1r2_ohm": 0.6}}),
    ("zs-adds-up", "flag", {"circuit": {"zs_ohm": 1.3, "ze_ohm": 0.35, "r1r2_ohm": 0.6}}),
    ("zs-adds-up", "unsure", {"circuit": {"zs_ohm": 0.6, "ze_ohm": 0.35, "r1r2_ohm": 0.6}}),
    ("zs-adds-up", "missing", {}),
    ("insulation-resistance", "clear", {"circuit": {"ir_mohm": 1.0, "ir_test_v": 500}}),
    ("insulation-resistance", "flag", {"circuit": {"ir_mohm": 0.99, "ir_test_v": 500}}),
    ("insulation-resistance", "unsure", {"circuit": {"ir_mohm": 200, "ir_test_v": 250}}),
    ("insulation-resistance", "missing", {"circuit": {"ir_mohm": 200}}),
    ("insulation-resistance", "missing", {}),
    ("polarity-circuit", "clear", {"circuit": {"polarity": "right"}}),
    ("polarity-circuit", "flag", {"circuit": {"polarity": "wrong"}}),
    ("polarity-circuit", "missing", {}),
    ("rcd-lighting", "clear", {"building": HOUSE, "circuit": {"rcd_ma": 30}}),
    ("rcd-lighting", "flag", {"building": HOUSE, "circuit": {"rcd_ma": 31}}),
    ("rcd-lighting", "flag", {"building": HOUSE, "circuit": {"rcd": False}}),
    ("rcd-lighting", "missing", {"building": HOUSE}),
    ("rcd-lighting", "missing", {"circuit": {"rcd": False}}),
    ("rcd-test", "clear", {"circuit": {"rcd_ma": 30, "rcd_trip_ms": 300, "rcd_button": True}}),
    ("rcd-test", "flag", {"circuit": {"rcd_ma": 30, "rcd_trip_ms": 301, "rcd_button": True}}),
    ("rcd-test", "flag", {"circuit": {"rcd_ma": 30, "rcd_trip_ms": 20, "rcd_button": False}}),
    ("rcd-test", "unsure", {"circuit": {"rcd_ma": 30, "rcd_trip_ms": 20}}),
    ("rcd-test", "missing", {"circuit": {"rcd_ma": 30}}),
    ("rcd-test", "absent", {"circuit": {"rcd": False}}),
    ("tests-order", "clear", {"circuit": {
        "dead_tests_at": "2026-11-12T10:00:00", "live_tests_at": "2026-11-12T10:00:00"}}),
    ("tests-order", "flag", {"circuit": {
        "dead_tests_at": "2026-11-12T10:00:01", "live_tests_at": "2026-11-12T10:00:00"}}),
    ("tests-order", "unsure", {"circuit": {
        "dead_tests_at": "2026-11-12T10:00:00", "live_tests_at": "2026-11-12T11:00:00Z"}}),
    ("tests-order", "missing", {}),
    ("notifiable", "flag", {"info": {"work": "new circuit", "notified_by": "none"}}),
    ("notifiable", "clear", {"info": {"work": "new circuit", "notified_by": "building control"}}),
    ("notifiable", "missing", {"info": {"work": "new circuit"}}),
    ("notifiable", "clear", {"info": {"work": "addition"}}),
    ("notifiable", "flag",
     {"info": {"work": "addition", "notified_by": "none"}, "room": BATH, "fitting": IN2}),
    ("notifiable", "clear",
     {"info": {"work": "addition", "notified_by": "none"}, "room": BATH, "fitting": OUT}),
    ("notifiable", "missing", {"info": {"work": "addition"}, "room": BATH}),
    ("notifiable", "unsure", {"info": {"work": "addition"}, "region": "gb-nir"}),
    ("notifiable", "unsure", {"info": {"work": "new circuit"}, "region": "international"}),
    ("notifiable", "missing", {}),
    ("certificate", "clear", {"info": {"work": "addition", "certificate": "minor works certificate"}}),
    ("certificate", "flag", {"info": {"work": "new circuit", "certificate": "minor works certificate"}}),
    ("certificate", "flag", {"info": {"work": "addition", "certificate": "none"}}),
    ("certificate", "unsure", {"info": {"work": "addition", "certificate": "installation certificate"}}),
    ("certificate", "missing", {"info": {"work": "addition"}}),
    ("certificate", "missing", {}),
    ("edition-named", "clear", {"info": {"edition": "BS 7671:2018+A4:2026"}}),
    ("edition-named", "unsure", {"info": {"edition": "BS 7671:2008"}}),
    ("edition-named", "missing", {}),
    ("region-known", "unsure", {"region": "atlantis"}),
    ("region-known", "unsure", {"region": "gb-eng"}),
    ("answered-for", "clear", {"info": {"by": "A", "answers_for_it": "B"}}),
    ("answered-for", "unsure", {"info": {"by": "A", "answers_for_it": "A"}}),
    ("answered-for", "missing", {}),
    ("instructions", "clear", {"fitting": {"instructions_on_site": True}}),
    ("instructions", "flag", {"fitting": {"instructions_on_site": False}}),
    ("instructions", "missing", {}),
    ("views-supplied", "clear", {"seen": seen(views=frozenset({"inside"}))}),
    ("views-supplied", "clear", {"seen": seen(views=frozenset({"entry", "terminals"}))}),
    ("views-supplied", "missing", {"seen": seen(views=frozenset({"entry", "plate"}))}),
    ("views-supplied", "unsure", {"seen": seen(refused=("F-inside.jpg",))}),
    ("views-supplied", "missing", {}),
    ("setting-out", "clear", {"room": {"setting_out_agreed": True}}),
    ("setting-out", "flag", {"room": {"setting_out_agreed": False}}),
    ("setting-out", "missing", {}),
]  # fmt: skip

CUT = {"kind": "hole", "span_m": 3.0, "from_support_m": 0.8, "depth_of_joist_mm": 200,
       "size_mm": 20, "cover_mm": 60}  # fmt: skip
for _state, _cut in (
    ("clear", {}), ("clear", {"from_support_m": 0.75}), ("flag", {"from_support_m": 0.74}),
    ("clear", {"from_support_m": 1.2}), ("flag", {"from_support_m": 1.21}),
    ("clear", {"size_mm": 50}), ("flag", {"size_mm": 51}),
    ("flag", {"cover_mm": 49}), ("clear", {"cover_mm": 50}), ("clear", {"cover_mm": 10, "plate": True}),
    ("clear", {"kind": "notch", "from_support_m": 0.21, "size_mm": 25}),
    ("flag", {"kind": "notch", "from_support_m": 0.20, "size_mm": 25}),
    ("flag", {"kind": "notch", "from_support_m": 0.3, "size_mm": 26}),
    ("missing", {"cover_mm": None}),
):  # fmt: skip
    CASES.append(("joist-cuts", _state, {"room": {"joist_cut": [{**CUT, **_cut}]}}))

TWO_FITTINGS = {
    state: [{"label": "F", "room": "R", "ip": "IP65"}, {"label": "G", "room": "R", "ip": other}]
    for state, other in (("clear", "IP65"), ("flag", "IP44"), ("missing", None))
}
for _state, _pair in TWO_FITTINGS.items():
    CASES.append(("ip-family", _state, {"room": BATH, "more": {"fitting": _pair}}))
CASES.append(("ip-family", "absent", {"room": BATH, "fitting": {"ip": "IP65"}}))

ONE_SIDED = {
    "bath-described": "describes; nothing to flag", "zone-known": "places; nothing to flag",
    "fire-needed": "asks what is needed", "ip-side": "face only is unsure, not wrong",
    "class-two": "the plate decides", "plate-confirmed": "a reading, not a fault",
    "facts-agree": "shown only where facts contradict", "facts-photo": "shown only where they differ",
    "sheath-declared": "a word that it runs in settles nothing", "circuit-declared": "absent is missing",
    "edition-named": "an older edition is not a fault", "region-known": "every region has its caution",
    "answered-for": "a missing name is missing", "views-supplied": "absent is missing",
}  # fmt: skip
"""Checks that by their nature have no flag, or no clear; two other states are tested instead."""


@pytest.mark.parametrize(
    ("check", "state", "given"), CASES, ids=[f"{i}-{c}-{s}" for i, (c, s, _) in enumerate(CASES)]
)
def test_case(check: str, state: str, given: dict[str, Any]) -> None:
    given = dict(given)
    shown = given.pop("seen", None)
    item = answer(check, job(**given), shown)
    assert ("absent" if item is None else item.state.value) == state, item and item.why


def test_every_check_is_tested_on_both_sides() -> None:
    states: dict[str, set[str]] = defaultdict(set)
    for check, state, _ in CASES:
        states[check].add(state)
    for check in catalogue().values():
        if check.photo:
            continue
        assert len(states[check.id]) >= 2 or check.id == "region-known", check.id
        if check.id not in ONE_SIDED:
            assert {"flag", "clear", "missing"} <= states[check.id], check.id


def test_nothing_said_is_never_clear() -> None:
    """An empty job holds no `clear` but of what the chain itself tells."""
    from audit.rules import evaluate

    for region in ("international", "gb-eng", "gb-wls", "gb-sct", "gb-nir"):
        for room in ({"kind": None}, BATH, {"kind": "bedroom"}):
            facts = job(room={**room}, region=region, circuit={"leg": [{"to": "F"}], "device": None,
                        "rating_a": None, "conductor_mm2": None, "cpc_mm2": None})  # fmt: skip
            held = {i.check for i in evaluate(facts) if i.state.value == "clear"}
            assert held <= {"circuit-declared", "bath-described"}
