// Package ubl writes and reads invoices and credit notes as UBL 2.1 (OASIS
// Standard, ISO/IEC 19845:2015) in the binding of EN 16931 that Peppol BIS
// Billing 3.0 uses.
//
// Elements stand in the order of the schema's sequences; an element without
// content is not written. What is read comes with the elements that the model
// has no place for, so that nothing is lost unnoticed.
package ubl
