"""The words of IPC-2581 that a damaged file may misspell: elements, and attributes of those read.

An element or attribute that is not here is reported, once, and not read: a misspelt name must not
drop a net in silence. Names as met in files of several writers, and from memory of the schema.
"""

from __future__ import annotations

import re

__all__ = ["ATTRIBUTES", "COPPER", "ELEMENTS", "LAYER_FUNCTIONS", "LAYER_SIDES", "PLATINGS"]

_SIZE = "width height comment"
_POINT = "x y comment"

#: Attributes of the elements that are read.
ATTRIBUTES: dict[str, frozenset[str]] = {
    element: frozenset(names.split())
    for element, names in {
        "FunctionMode": "mode level comment",
        "DictionaryStandard": "units",
        "DictionaryUser": "units",
        "EntryStandard": "id",
        "EntryUser": "id",
        "Circle": "diameter comment",
        "Oval": _SIZE,
        "RectCenter": _SIZE,
        "RectRound": _SIZE + " radius upperRight upperLeft lowerRight lowerLeft",
        "RectCham": _SIZE + " chamfer upperRight upperLeft lowerRight lowerLeft",
        "Ellipse": _SIZE,
        "Diamond": _SIZE,
        "Contour": "",
        "StandardPrimitiveRef": "id",
        "UserPrimitiveRef": "id",
        "Bom": "name",
        "BomItem": "OEMDesignNumberRef quantity pinCount category internalPartNumber description",
        "RefDes": "name packageRef populate layerRef modelRef",
        "Textual": "definitionSource textualCharacteristicName textualCharacteristicValue",
        "Enumerated": "definitionSource enumeratedCharacteristicName enumeratedCharacteristicValue",
        "Measured": (
            "definitionSource measuredCharacteristicName measuredCharacteristicValue "
            "engineeringUnitOfMeasure engineeringNegativeTolerance engineeringPositiveTolerance"
        ),
        "CadHeader": "units comment",
        "Layer": "name layerFunction side polarity comment",
        "Step": "name type stackupRef comment",
        "PadStackDef": "name",
        "PadstackHoleDef": "name diameter platingStatus plusTol minusTol x y",
        "PadstackPadDef": "layerRef padUse comment",
        "Profile": "",
        "Outline": "",
        "PolyBegin": _POINT,
        "PolyStepSegment": _POINT,
        "PolyStepCurve": _POINT + " centerX centerY clockwise",
        "Package": "name type pinOne pinOneOrientation height comment",
        "Pin": "number name type electricalType mountType x y comment",
        "Component": "refDes matDes packageRef part layerRef mountType weight height standoff "
        "modelRef",
        "NonstandardAttribute": "name type value comment",
        "Xform": "rotation mirror faceUp scale xOffset yOffset",
        "Location": "x y",
        "LogicalNet": "name netClass",
        "PhyNet": "name",
        "PhyNetPoint": (
            "x y layerRef secondSide netNode exposure layerIndex comment via fiducial test "
            "staggered staggerX staggerY staggerRadius"
        ),
        "LayerFeature": "layerRef",
        "Set": "net polarity padUsage testPoint geometry plate componentRef geometryUsage comment",
        "Pad": "padstackDefRef comment",
        "PinRef": "componentRef pin title",
        "Hole": "name diameter platingStatus plusTol minusTol x y type",
    }.items()
}

#: Every element that may stand where elements are read, with what stands inside it.
ELEMENTS = frozenset(ATTRIBUTES).union(
    re.findall(
        r"\S+",
        """
        IPC-2581 Content StepRef LayerRef BomRef AvlRef StackupRef DictionaryColor
        DictionaryLineDesc DictionaryFillDesc DictionaryFont DictionaryFirmware EntryColor
        EntryLineDesc EntryFillDesc EntryFont EntryFirmware LineDesc FillDesc LineDescRef
        FillDescRef Color ColorRef Font CachedFirmware Firmware LogisticHeader Role Enterprise
        Person HistoryRecord FileRevision ChangeRec Approval SoftwarePackage Certification
        BomHeader Characteristics Ranged MatDes DocDes ToolDes FindDes Tuning SpecRef Criteria
        Ecad CadData Spec General Material Dielectric Conductor SurfaceFinish V_Cut Thieving
        Backdrill Compliance Impedance Technology Temperature Tool Transmission EdgePlating
        EdgeCoupled Tolerance Structure Property Product SpecCharacteristic Loss Requirement
        BackdrillSpec Span Stackup StackupGroup StackupLayer StackupImpedance CADPin MatRef
        Datum Route StepRepeat Dfx DfxMeasurementList DfxMeasurement DfxDetails DfxQuery
        PhyNetGroup PickupPoint PinOneOrientation SilkScreen SilkScreenGraphic AssemblyDrawing
        AssemblyDrawingGraphic LandPattern Target Marking Polygon Polyline Line Arc Text
        BoundingBox Cutout UserSpecial UserPrimitive StandardPrimitive Features Fiducial
        GoodPanelMark BadBoardMark GlobalFiducial LocalFiducial SlotCavity OutlineRef Octagon
        Hexagon Triangle Donut Thermal Butterfly Moire RectCorner Pattern Model BendArea
        ComponentModel Topside Bottomside Avl AvlHeader AvlItem AvlVmpn AvlMpn AvlVendor Vendor
        PartNumber SlashSheetRef Slash Revision Change PortRef NetShort RefDesRef
        """,
    )
)

#: Values of layerFunction: copper, and all.
COPPER = frozenset({"CONDUCTOR", "SIGNAL", "PLANE", "MIXED", "CONDFILM", "CONDFOIL"})
LAYER_FUNCTIONS = COPPER.union(
    re.findall(
        r"\S+",
        """
        COATINGCOND COATINGNONCOND DIELBASE DIELCORE DIELPREG DIELADHV DIELBONDPLY DIELCOVERLAY
        SOLDERMASK SOLDERPASTE PASTEMASK SILKSCREEN LEGEND GLUE DRILL ROUT V_CUT SCORE
        EDGE_CHAMFER EDGE_PLATING THIEVING_KEEP_INOUT STACKUP_COMPOSITE CAPACITIVE RESISTIVE
        EMBEDDED_COMPONENT ASSEMBLY BOARD_OUTLINE BOARDFAB COMPONENT COMPONENT_TOP
        COMPONENT_BOTTOM COMPONENT_EMBEDDED COMPONENT_FORMED COMPONENT_PRESSFIT
        CONDUCTIVE_ADHESIVE COURTYARD DOCUMENT FIXTURE GRAPHIC HOLEFILL LANDPATTERN OTHER PIN
        PROBE REWORK SOLDERBUMP STIFFENER
        """,
    )
)
LAYER_SIDES = frozenset({"TOP", "BOTTOM", "BOTH", "INTERNAL", "ALL", "NONE"})
PLATINGS = frozenset({"PLATED", "NONPLATED", "VIA"})
