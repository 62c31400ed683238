package quantity

// The codes of the concepts. A plate's thickness has none in CID 7470: it is a distance, and the method says which.
//
// Source: DICOM PS3.16, CID 7470, 7472.
var (
	distance = Code{"121206", "DCM", "Distance"}
	height   = Code{"121207", "DCM", "Height"}
	width    = Code{"103355008", "SCT", "Width"}
	depth    = Code{"131197000", "SCT", "Depth"}
	diameter = Code{"81827009", "SCT", "Diameter"}
	length   = Code{"410668003", "SCT", "Length"}
	angle    = Code{"1483009", "SCT", "Angle"}
	area     = Code{"42798000", "SCT", "Area"}
	volume   = Code{"118565006", "SCT", "Volume"}
	grey     = Code{"grey_value", "99RIDGERULE", "Relative grey value"} // no published scheme has it: docs/conformance.md
)

// wanted is how a number for a wanted width reads.
const wanted = ", for %s"

// table holds every quantity, in the order in which a site's are measured.
var table = []Quantity{
	{
		Name: RidgeHeight, Unit: MM, Words: "Ridge height", With: "Ridge height to the %s", EndsAtLimit: true, Concept: height,
		Description: "From the crest point along the ridge axis to the first limit, which `to` names",
	},
	{
		Name: RidgeWidth, Unit: MM, Words: "Ridge width", From: Crest, PerDepth: true, Concept: width,
		Description: "Chord of the bone's outline perpendicular to the axis, at a depth",
	},
	{
		Name: BuccalPlate, Unit: MM, Words: "Buccal plate", From: Crest, PerDepth: true, Concept: distance,
		Description: "Thickness of the cortical plate along the chord, at a depth, buccally",
	},
	{
		Name: LingualPlate, Unit: MM, Words: "Lingual plate", From: Crest, PerDepth: true, Concept: distance,
		Description: "Thickness of the cortical plate along the chord, at a depth, on the side of the tongue or palate",
	},
	{
		Name: RidgeTilt, Unit: Deg, Words: "Tilt of the ridge", Negative: "the base lies lingual of the crest", Concept: angle,
		Description: "Angle between the section's base direction and the axis; positive when the base lies buccal of the crest",
	},
	{
		Name: BuccalUndercut, Unit: MM, Words: "Buccal undercut", From: Crest, Concept: depth,
		Description: "Deepest distance of the outline from the line that touches it above and below, buccally",
	},
	{
		Name: LingualUndercut, Unit: MM, Words: "Lingual undercut", From: Crest, Concept: depth,
		Description: "Deepest distance of the outline from the line that touches it above and below, on the side of the tongue or palate",
	},
	{
		Name: UsableCrestDepth, Short: "usable_crest", Unit: MM, Words: "Usable crest below crest", With: "Usable crest below crest" + wanted, Concept: depth,
		Description: "How deep the crest must be levelled for the wanted width, which `to` gives",
	},
	{
		Name: UsableHeight, Unit: MM, Words: "Height below usable crest", With: "Height below usable crest" + wanted, EndsAtLimit: true, Concept: height,
		Description: "Ridge height left below the usable crest",
	},
	{
		Name: LevelledDepth, Unit: MM, Words: "Crest levelled by", Concept: depth,
		Description: "From the old crest to the levelled one along the axis",
	},
	{
		Name: LevelledHeight, Unit: MM, Words: "Height below levelled crest", EndsAtLimit: true, Concept: height,
		Description: "What the level leaves of the ridge height",
	},
	{
		Name: LevelledWidth, Unit: MM, Words: "Width below levelled crest", From: LevelledCrest, PerDepth: true, Concept: width,
		Description: "Ridge width at a depth below the levelled crest; at 0 along the cut itself",
	},
	{
		Name: LevelledBuccalPlate, Short: "levelled_buccal", Unit: MM, Words: "Buccal plate below levelled crest", From: LevelledCrest, PerDepth: true, Concept: distance,
		Description: "Thickness of the buccal plate at a depth below the levelled crest",
	},
	{
		Name: LevelledLingualPlate, Short: "levelled_lingual", Unit: MM, Words: "Lingual plate below levelled crest", From: LevelledCrest, PerDepth: true, Concept: distance,
		Description: "Thickness of the plate on the side of the tongue or palate at a depth below the levelled crest",
	},
	{
		Name: LevelledUsableDepth, Short: "levelled_crest", Unit: MM, Words: "Usable crest below levelled crest", Concept: depth,
		Description: "The usable crest for the wanted width, asked again from the levelled crest on",
	},
	{
		Name: LevelledUsableHeight, Short: "levelled_usable", Unit: MM, Words: "Height below usable, levelled crest", EndsAtLimit: true, Concept: height,
		Description: "Ridge height left below the usable crest that was asked again",
	},
	{
		Name: RemovedArea, Unit: MM2, Words: "Area of the section levelled away", Concept: area,
		Description: "Area of the section coronal of the level: as many mm³ for each mm of arch",
	},
	{
		Name: GreyMean, Unit: Pure, Words: "Mean grey value", Concept: grey,
		Description: "Mean of the relative grey values inside the outline down to the limit; no density",
	},
	{
		Name: GreySD, Unit: Pure, Words: "SD of grey values", Concept: grey,
		Description: "SD of these grey values",
	},
	{
		Name: GreyP05, Unit: Pure, Words: "5th percentile of grey values", Concept: grey,
		Description: "5th percentile of these grey values",
	},
	{
		Name: GreyP95, Unit: Pure, Words: "95th percentile of grey values", Concept: grey,
		Description: "95th percentile of these grey values",
	},
	{
		Name: ImplantLean, Unit: Deg, Words: "Lean of the implant", With: "Lean of the implant to %s", Concept: angle,
		Description: "Angle of the implant's axis out of the site's section; `to` is `mesial` or `distal`; information",
	},
	{
		Name: PlatformDepth, Unit: MM, Words: "Platform below crest", Negative: "the platform stands above the crest", Concept: depth,
		Description: "How deep the implant's platform stands below the crest along the axis; `to` says what decides it: `given by the plan`, or of a default platform `usable crest for 7 mm`, `least depth with 4 mm of width`, `crest`",
	},
	{
		Name: Clearance, Unit: MM, Words: "Clearance", With: "Clearance to %s", Negative: "depth of overlap", Overlap: true, Concept: distance,
		Description: "Least distance from the planned implant's surface to that of the structure, or the other site's implant, that `to` names; negative: depth of overlap",
	},
	{
		Name: BuccalBone, Unit: MM, Words: "Buccal bone beside implant", From: Platform, PerDepth: true, Negative: "the implant stands outside the bone", Overlap: true, Concept: distance,
		Description: "Bone beside the implant buccally, at a depth below its platform; without a depth: the least over its length",
	},
	{
		Name: LingualBone, Unit: MM, Words: "Lingual bone beside implant", From: Platform, PerDepth: true, Negative: "the implant stands outside the bone", Overlap: true, Concept: distance,
		Description: "Bone beside the implant on the side of the tongue or palate, at a depth below its platform; without a depth: the least over its length",
	},
	{
		Name: LargestDiameter, Unit: MM, Words: "Largest diameter that holds", Concept: diameter,
		Description: "Diameter of a size at the edge of what holds every margin; `to` is its length, `8 mm long`. No wider size as long holds, and no longer one as wide",
	},
	{
		Name: LargestLength, Unit: MM, Words: "Largest length that holds", Concept: length,
		Description: "Length of that size; `to` is its diameter, `4.5 mm wide`",
	},
	{
		Name: RestorativeSpace, Short: "restorative", Unit: MM, Words: "Restorative space", Negative: "the occlusal level lies below the platform", Concept: distance,
		Description: "From the implant's platform along the occlusal direction to the planned occlusal level; never judged",
	},
	{
		Name: ExitBuccal, Unit: MM, Words: "Axis leaves planned tooth, buccal of its middle", Negative: "lingual of its middle", Concept: distance,
		Description: "How far buccal of the planned tooth's middle the implant's axis leaves it; negative: on the side of the tongue or palate",
	},
	{
		Name: ExitMesial, Unit: MM, Words: "Axis leaves planned tooth, mesial of its middle", Negative: "distal of its middle", Concept: distance,
		Description: "How far mesial of the planned tooth's middle the implant's axis leaves it; negative: distal",
	},
	{
		Name: ExitAngle, Unit: Deg, Words: "Angle to the middle of the planned tooth", Concept: angle,
		Description: "Angle between the implant's axis and the line from its platform to the middle of the planned tooth's biting side",
	},
	{
		Name: CrownSpace, Unit: MM, Words: "Room under the planned tooth's surface", Concept: distance,
		Description: "From the implant's platform along its axis to the planned tooth's outer surface, the least over the platform; never judged",
	},
	{
		Name: MucosalMargin, Unit: MM, Words: "Platform to planned mucosal margin", With: "Platform to planned mucosal margin, %s", Negative: "the platform stands above the margin", Concept: distance,
		Description: "From the implant's platform along its axis to where the planned mucosa meets the planned tooth on the side that `to` names; negative: the platform stands above it; never judged",
	},
	{
		Name: Reading, Unit: MM, Words: "Reading", With: "Reading %s", Concept: distance,
		Description: "Distance that a person read off a picture, between the two ends that the plan keeps; `to` is the reading's name; never judged",
	},
	{
		Name: RemovedVolume, Unit: MM3, Words: "Bone levelled away", Concept: volume,
		Description: "Volume levelled away between two neighbouring levelled sites; of `arch`, their sum",
	},
	{
		Name: PlatformDistance, Short: "platform_dist", Unit: MM, Words: "Distance between platforms", Concept: distance,
		Description: "Distance between two implants' platforms, centre to centre",
	},
	{
		Name: ImplantAngle, Unit: Deg, Words: "Angle between implants", With: "Angle between implants to %s", Concept: angle,
		Description: "Angle between two implants' axes",
	},
	{
		Name: ImplantSpreadAngle, Short: "implant_spread", Unit: Deg, Words: "Angle to mean axis", With: "Angle to the %s", Concept: angle,
		Description: "Angle of an implant's axis to the direction that `to` names; of `arch`, the largest",
	},
	{
		Name: AxisCorrection, Unit: Deg, Words: "Angle to a common axis", With: "Angle to the %s", Concept: angle,
		Description: "Angle that an implant's platform must make up to the direction common to all",
	},
	{
		Name: APSpread, Unit: MM, Words: "Anterior–posterior spread", Concept: distance,
		Description: "Anterior–posterior spread of the implants; information, never judged",
	},
	{
		Name: DistalExtension, Unit: MM, Words: "Distal extension", Negative: "the end lies in front of that line", Concept: length,
		Description: "How far a planned end of the prosthesis lies behind the line that touches the distal edges of the two most distal platforms; never judged",
	},
}
