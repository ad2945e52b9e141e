package en16931

import "github.com/shopspring/decimal"

// Line is one position of the invoice (BG-25).
type Line struct {
	ID                   string            `json:"id"`                               // BT-126
	Note                 string            `json:"note,omitzero"`                    // BT-127
	Object               *Identifier       `json:"object,omitzero"`                  // BT-128
	Quantity             *decimal.Decimal  `json:"quantity,omitempty"`               // BT-129
	Unit                 string            `json:"unit"`                             // BT-130, UN/ECE Rec 20 and 21
	Net                  *Money            `json:"net,omitzero"`                     // BT-131
	OrderLine            string            `json:"order_line,omitzero"`              // BT-132
	AccountingReference  string            `json:"accounting_reference,omitzero"`    // BT-133
	Period               *Period           `json:"period,omitzero"`                  // BG-26
	AllowancesAndCharges []AllowanceCharge `json:"allowances_and_charges,omitempty"` // BG-27, BG-28
	Price                Price             `json:"price"`                            // BG-29
	Tax                  Category          `json:"tax"`                              // BG-30
	Item                 Item              `json:"item"`                             // BG-31
}

// Price is what one unit, or Per units, cost without tax (BG-29).
type Price struct {
	Net      *Money           `json:"net,omitzero"`      // BT-146
	Discount *Money           `json:"discount,omitzero"` // BT-147
	Gross    *Money           `json:"gross,omitzero"`    // BT-148
	Per      *decimal.Decimal `json:"per,omitempty"`     // BT-149; nil means 1
	PerUnit  string           `json:"per_unit,omitzero"` // BT-150
}

// Item is what was sold (BG-31).
type Item struct {
	Name            string           `json:"name"`                      // BT-153
	Description     string           `json:"description,omitzero"`      // BT-154
	SellersID       string           `json:"sellers_id,omitzero"`       // BT-155
	BuyersID        string           `json:"buyers_id,omitzero"`        // BT-156
	StandardID      *Identifier      `json:"standard_id,omitzero"`      // BT-157
	Classifications []Classification `json:"classifications,omitempty"` // BT-158
	Origin          string           `json:"origin,omitzero"`           // BT-159, ISO 3166-1
	Attributes      []Attribute      `json:"attributes,omitempty"`      // BG-32
}

// Classification is a code of the item by its type (BT-158).
type Classification struct {
	Code    string `json:"code"`
	List    string `json:"list"` // UNTDID 7143
	Version string `json:"version,omitzero"`
}

// Attribute is a name and a value of the item (BG-32).
type Attribute struct {
	Name  string `json:"name"`  // BT-160
	Value string `json:"value"` // BT-161
}
