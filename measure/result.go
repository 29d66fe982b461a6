package measure

// This file holds what a measurement says, as plain structs that can be printed,
// saved and tested alone. The JSON keys carry the units. What is named English here is
// worded by who writes a result: in results written before there were codes it is all
// there is.

// Quantity is a measured value with its standard uncertainty and 95 % interval.
type Quantity struct {
	Value               float64 `json:"value"`
	StandardUncertainty float64 `json:"standard_uncertainty"`
	Low95               float64 `json:"low_95"`
	High95              float64 `json:"high_95"`
}

// Result is one state of one vehicle, measured from its photos.
type Result struct {
	Schema        string        `json:"schema"` // "rimpair/measurement/1"
	TotalToeMm    Quantity      `json:"total_toe_mm"`
	RimTotalToeMm Quantity      `json:"rim_total_toe_mm"`
	Wheels        []WheelResult `json:"wheels"` // left, right
	TrackMm       Quantity      `json:"track_mm"`
	GapFrontMm    Quantity      `json:"gap_front_mm"`
	GapRearMm     Quantity      `json:"gap_rear_mm"`
	HubHeightMm   Quantity      `json:"hub_height_mm"`
	Rear          *RearResult   `json:"rear,omitempty"` // nil where it is not plainly seen
	Photos        []PhotoResult `json:"photos"`
	Budget        []BudgetLine  `json:"budget"`             // of total toe, largest first
	Expanded      *Expanded     `json:"expanded,omitempty"` // what the budget makes; nil in results written before it
	Runout        []Runout      `json:"runout,omitempty"`   // left, right; of several positions
	Advice        []Advice      `json:"advice"`             // most useful first
	// ChiSquarePerDof is the adjustment's goodness of fit before intervals were
	// widened by it.
	ChiSquarePerDof float64   `json:"chi_square_per_dof"`
	Notes           []Message `json:"note_codes,omitempty"` // what the reader must know
	EnglishNotes    []string  `json:"notes"`                // the same
}

// WheelResult is one front wheel.
type WheelResult struct {
	Side          string   `json:"side"` // "left", "right"
	ToeDeg        Quantity `json:"toe_deg"`
	CamberDeg     Quantity `json:"camber_deg"`
	RimDiameterMm Quantity `json:"rim_diameter_mm"`
	RimSeen       bool     `json:"rim_seen"` // false: only the tyre's outline was good enough
}

// Runout is how far a rim runs out of true sideways, found from several positions.
type Runout struct {
	Side         string   `json:"side"`
	PeakToPeakMm Quantity `json:"peak_to_peak_mm"`
	// Against the limits of runoutLimitsMm: "within", "beyond" or "open" where the
	// interval holds the limit.
	RimBrake   string `json:"rim_brake_limit"`
	OtherBrake string `json:"other_brake_limit"`
}

// PhotoResult says what was found in one photo.
type PhotoResult struct {
	File        string       `json:"file"`
	Width       int          `json:"width_px"`
	Height      int          `json:"height_px"`
	Sheets      []int        `json:"sheets"` // numbers of the sheets found
	Corners     int          `json:"corners"`
	CornerRmsPx float64      `json:"corner_rms_px"`
	Wheels      []PhotoWheel `json:"wheels"`
	FocalPx     Quantity     `json:"focal_length_px"`
}

// PhotoWheel says what one photo shows of one wheel.
type PhotoWheel struct {
	Side       string  `json:"side"`
	TyrePoints int     `json:"tyre_points"`
	TyreRmsPx  float64 `json:"tyre_rms_px"`
	RimPoints  int     `json:"rim_points"`
	RimRmsPx   float64 `json:"rim_rms_px"`
}

// BudgetLine is one source of uncertainty of total toe (JCGM 100). Budgets written before
// it had them lack unit, standard uncertainty and sensitivity.
type BudgetLine struct {
	Code                string   `json:"code,omitempty"`
	EnglishSource       string   `json:"source"`
	Type                string   `json:"type"`                         // "A" or "B"
	Unit                string   `json:"unit"`                         // of the standard uncertainty
	StandardUncertainty float64  `json:"standard_uncertainty"`         // of the source, in its unit
	Sensitivity         float64  `json:"sensitivity_mm_per_unit"`      // of total toe
	ContributionMm      float64  `json:"contribution_mm"`              // their product: standard uncertainty
	Share               float64  `json:"share"`                        // of the variance, 0 to 1
	DegreesOfFreedom    *float64 `json:"degrees_of_freedom,omitempty"` // of the standard uncertainty; nil: infinite
}

// Expanded is the uncertainty of total toe that the budget's lines make together.
type Expanded struct {
	StandardUncertaintyMm float64  `json:"standard_uncertainty_mm"`
	DegreesOfFreedom      *float64 `json:"degrees_of_freedom,omitempty"` // effective; nil: infinite
	CoverageFactor        float64  `json:"coverage_factor"`              // for 95 %
	ExpandedUncertaintyMm float64  `json:"expanded_uncertainty_mm"`
}

// Advice is one thing that would narrow the interval of total toe.
type Advice struct {
	Action               string  `json:"action"` // "photo", "sheet", "half_turn"
	Message                      // what to do
	EnglishText          string  `json:"text"`                    // the same
	PredictedHalfWidthMm float64 `json:"predicted_half_width_mm"` // of the 95 % interval afterwards
}
