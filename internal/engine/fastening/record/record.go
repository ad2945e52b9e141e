package record

import "time"

// Format names the form of the file.
const Format = "ramprow-tightening-record/1"

// Record is what is kept of a job's tightening. Units: N·m, degrees.
type Record struct {
	Job      Job
	Readings []Reading
	Result   Result
}

// Job tells whose car was tightened. It never changes while the sheet grows.
type Job struct {
	Workshop string    `json:"workshop"`
	Job      string    `json:"job"`
	Vehicle  string    `json:"vehicle"`
	VIN      string    `json:"vin"`
	Customer string    `json:"customer"`
	Opened   time.Time `json:"opened"`
}

// Reading is what was done to one fastener, and what it was judged by. One that
// takes out another is a correction and measures nothing.
type Reading struct {
	Number   uint32    `json:"number"`
	Joint    string    `json:"joint"`
	Fastener uint32    `json:"fastener"`
	Stage    uint32    `json:"stage"`
	Round    uint32    `json:"round"`
	Torque   float64   `json:"torque_nm"`
	Angle    float64   `json:"angle_deg"`
	Moved    bool      `json:"moved"`
	At       time.Time `json:"at"`
	By       string    `json:"by"`
	Wrench   string    `json:"wrench"`
	Verdict  string    `json:"verdict"`
	Counts   bool      `json:"counts"`
	Reason   string    `json:"reason"`
	// Risk of a wrong accept, from 0 to 1.
	Risk     float64 `json:"risk"`
	TakesOut uint32  `json:"takes_out"`
	Basis    Basis   `json:"basis"`
	// Members that came later are left out where there are none, so that the
	// hashes of older readings stay what they were.
	Adapter *Adapter `json:"adapter,omitempty"`
	// Given is the torque as it was given, if not in N·m.
	Given *Given `json:"given,omitempty"`
	// Use is which use of the fastener begins with it, where uses have a limit.
	Use uint32 `json:"use,omitempty"`
}

// Given is a torque in the unit in which it was given; it was converted by the
// factors of NIST SP 811.
type Given struct {
	Torque float64 `json:"torque"`
	Unit   string  `json:"unit"`
}

// Adapter was between wrench and fastener; Setting is what the wrench showed.
type Adapter struct {
	Lever   float64 `json:"lever_mm"`
	Reach   float64 `json:"reach_mm"`
	Angle   float64 `json:"angle_deg"`
	Setting float64 `json:"setting_nm"`
}

// Basis is the specification and the tool as they stood on that day.
type Basis struct {
	Asked       string     `json:"asked"`
	TorqueLow   float64    `json:"torque_low_nm"`
	TorqueHigh  float64    `json:"torque_high_nm"`
	AngleLow    float64    `json:"angle_low_deg"`
	AngleHigh   float64    `json:"angle_high_deg"`
	TorqueFloor float64    `json:"torque_floor_nm"`
	Rule        string     `json:"rule"`
	Tool        string     `json:"tool"`
	Deviation   float64    `json:"deviation_percent"`
	Certificate string     `json:"certificate"`
	Calibrated  *time.Time `json:"calibrated"`
	Due         *time.Time `json:"calibration_due"`
	Checked     *time.Time `json:"checked"`
}

// Result is where the sheet stood when the record was issued.
type Result struct {
	State    string     `json:"state"`
	Readings int        `json:"readings"`
	Plan     uint32     `json:"plan_revision"`
	Joints   []Joint    `json:"joints"`
	Left     []string   `json:"left"`
	Signed   string     `json:"signed_by"`
	SignedAt *time.Time `json:"signed_at"`
	AsOf     time.Time  `json:"as_of"`
	Notices  []string   `json:"notices"`
	// Residuals are what tight fasteners were found to hold afterwards.
	Residuals []Residual `json:"residuals,omitempty"`
	Curves    []Curve    `json:"curves,omitempty"`
	Rechecks  []Recheck  `json:"rechecks,omitempty"`
}

// Recheck is a joint that is tried again once the car has run. Tries are no
// part of the tightening's chain; the record's sum covers them.
type Recheck struct {
	Joint  string `json:"joint"`
	Title  string `json:"title"`
	Number uint32 `json:"number"`
	State  string `json:"state"`
	// Says when it is due while it is.
	Says     string     `json:"says,omitempty"`
	Asked    time.Time  `json:"asked_at"`
	Due      *time.Time `json:"due_at"`
	Torque   float64    `json:"torque_nm"`
	Ended    *time.Time `json:"ended_at"`
	By       string     `json:"by"`
	Reason   string     `json:"reason"`
	Odometer float64    `json:"odometer_km"`
	Tries    []Reading  `json:"tries"`
}

// Preload is the clamping force that a joint's stages bring, in newtons, with
// the scatter of the method.
type Preload struct {
	Low     float64 `json:"low_n"`
	Mean    float64 `json:"mean_n"`
	High    float64 `json:"high_n"`
	Scatter float64 `json:"scatter_percent"`
	Method  string  `json:"method"`
	Basis   string  `json:"basis"`
}

// Renewal says that new fasteners were put in.
type Renewal struct {
	Fasteners []uint32  `json:"fasteners"`
	By        string    `json:"by"`
	At        time.Time `json:"at"`
}

// Curve is what a tightening curve showed; the digest tells whether a file
// holds its samples.
type Curve struct {
	Joint    string    `json:"joint"`
	Fastener uint32    `json:"fastener"`
	Stage    uint32    `json:"stage"`
	Wrench   string    `json:"wrench"`
	At       time.Time `json:"at"`
	By       string    `json:"by"`
	Samples  uint32    `json:"samples"`
	Digest   string    `json:"digest"`
	Remarks  []string  `json:"remarks"`
}

// Residual is a check of a tight fastener, with its method: methods give
// different figures.
type Residual struct {
	Joint    string    `json:"joint"`
	Fastener uint32    `json:"fastener"`
	Method   string    `json:"method"`
	Torque   float64   `json:"torque_nm"`
	Wrench   string    `json:"wrench"`
	Low      float64   `json:"low_nm"`
	High     float64   `json:"high_nm"`
	Source   string    `json:"limit_source"`
	Verdict  string    `json:"verdict"`
	Reason   string    `json:"reason"`
	At       time.Time `json:"at"`
	By       string    `json:"by"`
}

// Joint is one joint with what was asked of it.
type Joint struct {
	Joint     string     `json:"joint"`
	Title     string     `json:"title"`
	State     string     `json:"state"`
	Fasteners uint32     `json:"fasteners"`
	Thread    string     `json:"thread"`
	Class     string     `json:"property_class"`
	Oiled     bool       `json:"oiled"`
	UsedOnce  bool       `json:"used_once"`
	Soft      bool       `json:"soft_gasket"`
	Rule      string     `json:"rule"`
	Stages    []string   `json:"stages"`
	Moved     []uint32   `json:"moved_by_round"`
	Departure *Departure `json:"departure"`
	Preload   *Preload   `json:"preload,omitempty"`
	// Limit to the uses of a fastener, and how many each has had, by its number.
	Limit    uint32    `json:"uses_at_most,omitempty"`
	Uses     []uint32  `json:"uses,omitempty"`
	Renewals []Renewal `json:"renewals,omitempty"`
}

// Departure says why a joint could not be proved as written, and who answers for it.
type Departure struct {
	Reason string    `json:"reason"`
	First  string    `json:"first_person"`
	Second string    `json:"second_person"`
	At     time.Time `json:"at"`
}

// MakersData is the notice on every record.
const MakersData = "The figures asked for are those of the workshop's catalogue. Where the vehicle maker's data differ, the maker's data count."
