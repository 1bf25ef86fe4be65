"""The words a board file may hold, form by form: versions 3 (2013) to 20241229 and later.

Sources: the files met (docs/formats.md) and, for heads not met there, the format's public
description of the "S-expression board format", from memory. A head that is not listed is passed
over with a warning.
"""

from __future__ import annotations

__all__ = [
    "FOOTPRINT_HEADS",
    "PAD_HEADS",
    "PAD_KINDS",
    "PAD_SHAPES",
    "TOP_HEADS",
    "VIA_HEADS",
    "ZONE_HEADS",
]


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


TOP_HEADS = _words(
    """
    version host generator generator_version general paper page title_block layers setup property
    net net_class footprint module segment arc via zone target dimension group generated image
    table barcode embedded_fonts embedded_files
    gr_line gr_arc gr_circle gr_rect gr_poly gr_curve gr_bbox gr_text gr_text_box gr_vector
    """
)
FOOTPRINT_HEADS = _words(
    """
    layer tedit tstamp uuid at descr tags property path sheetname sheetfile attr units version
    generator generator_version stackup
    fp_text fp_text_box fp_line fp_arc fp_circle fp_rect fp_poly fp_curve
    pad model zone group dimension image point table barcode
    solder_mask_margin solder_paste_margin solder_paste_ratio solder_paste_margin_ratio
    clearance zone_connect thermal_width thermal_gap autoplace_cost90 autoplace_cost180
    private_layers net_tie_pad_groups jumper_pad_groups duplicate_pad_numbers_are_jumpers
    locked placed embedded_fonts embedded_files component_classes variant teardrops
    """
)
PAD_HEADS = _words(
    """
    at size rect_delta drill layers property remove_unused_layers remove_unused_layer
    keep_end_layers zone_layer_connections roundrect_rratio chamfer_ratio chamfer net pinfunction
    pintype die_length die_delay solder_mask_margin solder_paste_margin solder_paste_ratio
    solder_paste_margin_ratio clearance zone_connect thermal_width thermal_bridge_width
    thermal_bridge_angle thermal_gap options primitives tstamp uuid teardrops tenting padstack
    locked unlocked backdrill tertiary_drill front_post_machining back_post_machining
    """
)
PAD_KINDS = _words("smd thru_hole connect np_thru_hole")
PAD_SHAPES = _words("rect circle oval roundrect trapezoid custom")
VIA_HEADS = _words(
    """
    at size drill layers net remove_unused_layers remove_unused_layer keep_end_layers
    zone_layer_connections locked free status tstamp uuid teardrops tenting capping covering
    plugging filling padstack start_end_only backdrill tertiary_drill front_post_machining
    back_post_machining blind micro buried
    """
)
ZONE_HEADS = _words(
    """
    net net_name layer layers tstamp uuid name hatch priority attr connect_pads min_thickness
    filled_areas_thickness keepout placement fill polygon filled_polygon fill_segments locked
    property teardrops clearance
    """
)
