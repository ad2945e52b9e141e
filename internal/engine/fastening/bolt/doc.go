// Package bolt is the physics of a tightened bolt: from torque to preload and
// back, from angle to elongation, and what thread and property class can bear.
//
//	torque ──tan(φ+ρ')──> preload ± scatter of the method
//	angle  ──pitch, stiffness──> elongation, preload
//
// Torque goes through VDI 2230's exact form, tan(φ+ρ'), not the linear one that
// is usually quoted: the guideline's printed tables fit the exact form only.
// A preload is never given without its scatter: torque alone cannot tell it
// better than a quarter to a third.
//
// Units: millimetres, newtons, newton metres, megapascals, degrees.
package bolt
