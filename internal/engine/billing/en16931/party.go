package en16931

// Party is the seller (BG-4), the buyer (BG-7) or the seller's tax representative (BG-11).
type Party struct {
	Endpoint     *Identifier  `json:"endpoint,omitzero"`     // BT-34, BT-49; scheme of the EAS list
	Identifiers  []Identifier `json:"identifiers,omitempty"` // BT-29, BT-46; scheme of ISO 6523
	TradingName  string       `json:"trading_name,omitzero"` // BT-28, BT-45
	Name         string       `json:"name"`                  // BT-27, BT-44, BT-62
	Address      *Address     `json:"address,omitzero"`      // BG-5, BG-8, BG-12
	VATID        string       `json:"vat_id,omitzero"`       // BT-31, BT-48, BT-63
	TaxID        string       `json:"tax_id,omitzero"`       // BT-32: a tax registration that is no VAT identifier
	Registration *Identifier  `json:"registration,omitzero"` // BT-30, BT-47
	LegalForm    string       `json:"legal_form,omitzero"`   // BT-33
	ContactName  string       `json:"contact_name,omitzero"` // BT-41, BT-56
	Phone        string       `json:"phone,omitzero"`        // BT-42, BT-57
	Email        string       `json:"email,omitzero"`        // BT-43, BT-58
}

// Address is a postal address (BG-5, BG-8, BG-12, BG-15).
type Address struct {
	Street      string `json:"street,omitzero"`      // BT-35, 50, 64, 75
	Additional  string `json:"additional,omitzero"`  // BT-36, 51, 65, 76
	ThirdLine   string `json:"third_line,omitzero"`  // BT-162, 163, 164, 165
	City        string `json:"city,omitzero"`        // BT-37, 52, 66, 77
	PostCode    string `json:"post_code,omitzero"`   // BT-38, 53, 67, 78
	Subdivision string `json:"subdivision,omitzero"` // BT-39, 54, 68, 79
	Country     string `json:"country"`              // BT-40, 55, 69, 80, ISO 3166-1
}

// Payee gets the money if it is not the seller (BG-10).
type Payee struct {
	Name         string      `json:"name"`                  // BT-59
	Identifier   *Identifier `json:"identifier,omitzero"`   // BT-60
	Registration *Identifier `json:"registration,omitzero"` // BT-61
}

func (p *Party) hasTaxID() bool { return p.VATID != "" || p.TaxID != "" }
