package report

import "rimpair/measure"

// quantity has a symmetric interval of 1.96 standard uncertainties.
func quantity(value, u float64) measure.Quantity {
	return measure.Quantity{Value: value, StandardUncertainty: u, Low95: value - 1.96*u, High95: value + 1.96*u}
}

// sampleResult is an invented measurement from three photos.
func sampleResult() measure.Result {
	photo := func(file string) measure.PhotoResult {
		return measure.PhotoResult{
			File: file, Width: 4000, Height: 3000, Sheets: []int{1, 2}, Corners: 44, CornerRmsPx: 0.093,
			Wheels: []measure.PhotoWheel{
				{Side: "left", TyrePoints: 212, TyreRmsPx: 0.114, RimPoints: 88, RimRmsPx: 0.287},
				{Side: "right", TyrePoints: 205, TyreRmsPx: 0.121},
			},
			FocalPx: quantity(3012.4, 6.3),
		}
	}
	edgeDof := 47.3
	return measure.Result{
		Schema:        "rimpair/measurement/1",
		TotalToeMm:    quantity(4.0413, 0.3204),
		RimTotalToeMm: quantity(4.0413, 0.1187),
		Wheels: []measure.WheelResult{
			{Side: "left", ToeDeg: quantity(0.3647, 0.0402), CamberDeg: quantity(-0.2841, 0.0613), RimDiameterMm: quantity(317.32, 0.41), RimSeen: true},
			{Side: "right", ToeDeg: quantity(0.3649, 0.0398), CamberDeg: quantity(-0.1983, 0.0611), RimDiameterMm: quantity(317.32, 0.41), RimSeen: true},
		},
		TrackMm:     quantity(719.606, 0.502),
		GapFrontMm:  quantity(691.598, 0.604),
		GapRearMm:   quantity(695.640, 0.604),
		HubHeightMm: quantity(189.21, 0.39),
		Rear: &measure.RearResult{
			ThrustDeg: quantity(0.312, 0.117), ThrustMm: quantity(5.874, 2.203), LeanDeg: quantity(-0.523, 0.271), OffsetMm: quantity(-3.81, 1.66),
			SteeringOffDeg: quantity(0.437, 0.129), WheelbaseMm: quantity(1078.8, 7.4), StraightTotalToeMm: quantity(4.018, 0.3207),
			Photo: "rear.jpg", TyrePoints: 83, TyreRmsPx: 0.142,
		},
		Photos: []measure.PhotoResult{photo("front.jpg"), photo("rear.jpg"), photo("above.jpg")},
		Budget: []measure.BudgetLine{
			{Code: "runout_assumed", Type: "B", Unit: "mm", StandardUncertainty: 0.2976, Sensitivity: 1, ContributionMm: 0.2976, Share: 0.863},
			{Code: "tyre_outline", Type: "A", Unit: "px", StandardUncertainty: 0.52, Sensitivity: 0.16, ContributionMm: 0.0832, Share: 0.067, DegreesOfFreedom: &edgeDof},
			{Code: "lens_motion", Type: "B", Unit: "px", StandardUncertainty: 4, Sensitivity: 0.014025, ContributionMm: 0.0561, Share: 0.031},
			{Code: "sheet_flatness", Type: "B", Unit: "mm", StandardUncertainty: 0.3, Sensitivity: 0.07133, ContributionMm: 0.0214, Share: 0.004},
		},
		Expanded: &measure.Expanded{StandardUncertaintyMm: 0.3204, CoverageFactor: 1.96, ExpandedUncertaintyMm: 0.628},
		Advice: []measure.Advice{
			{Action: "half_turn", Message: measure.Message{Code: "half_turn"}, PredictedHalfWidthMm: 0.253},
			{Action: "photo", Message: measure.Message{Code: "photo_front_left"}, PredictedHalfWidthMm: 0.604},
			{Action: "sheet", Message: measure.Message{Code: "second_sheet"}, PredictedHalfWidthMm: 0.621},
		},
		ChiSquarePerDof: 1.08,
		Notes: []measure.Message{
			{Code: "outlines_in_doubt", Params: measure.Params{"times": 1.37}},
			{Code: "tyre_alone", Params: measure.Params{"side": "right"}},
			{Code: "profile", Params: measure.Params{"date": "2026-05-01", "photos": 12}},
		},
	}
}
