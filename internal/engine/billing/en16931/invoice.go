package en16931

import "github.com/shopspring/decimal"

// The identifiers that Peppol BIS Billing 3.0 wants in every document.
const (
	PeppolSpecification = "urn:cen.eu:en16931:2017#compliant#urn:fdc:peppol.eu:2017:poacc:billing:3.0"
	PeppolProcess       = "urn:fdc:peppol.eu:2017:poacc:billing:01:1.0"
)

// Document types of UNTDID 1001 that a workshop issues.
const (
	TypeInvoice    = "380"
	TypeCreditNote = "381"
	TypeCorrected  = "384"
)

// Invoice is an invoice or, if Credit is set, a credit note.
type Invoice struct {
	Credit               bool              `json:"credit_note,omitzero"`             // a CreditNote in UBL
	Specification        string            `json:"specification,omitzero"`           // BT-24
	Process              string            `json:"process,omitzero"`                 // BT-23
	Number               string            `json:"number"`                           // BT-1
	IssueDate            Date              `json:"issue_date"`                       // BT-2
	TypeCode             string            `json:"type_code"`                        // BT-3, UNTDID 1001
	Currency             string            `json:"currency"`                         // BT-5, ISO 4217
	TaxCurrency          string            `json:"tax_currency,omitzero"`            // BT-6
	TaxPointDate         Date              `json:"tax_point_date,omitzero"`          // BT-7
	TaxPointCode         string            `json:"tax_point_code,omitzero"`          // BT-8, UNTDID 2005: 3, 35 or 432
	DueDate              Date              `json:"due_date,omitzero"`                // BT-9
	BuyerReference       string            `json:"buyer_reference,omitzero"`         // BT-10
	ProjectReference     string            `json:"project_reference,omitzero"`       // BT-11
	ContractReference    string            `json:"contract_reference,omitzero"`      // BT-12
	OrderReference       string            `json:"order_reference,omitzero"`         // BT-13
	SalesOrderReference  string            `json:"sales_order_reference,omitzero"`   // BT-14
	ReceivingAdvice      string            `json:"receiving_advice,omitzero"`        // BT-15
	DespatchAdvice       string            `json:"despatch_advice,omitzero"`         // BT-16
	TenderReference      string            `json:"tender_reference,omitzero"`        // BT-17
	Object               *Identifier       `json:"object,omitzero"`                  // BT-18
	AccountingReference  string            `json:"accounting_reference,omitzero"`    // BT-19
	PaymentTerms         string            `json:"payment_terms,omitzero"`           // BT-20
	Notes                []string          `json:"notes,omitempty"`                  // BG-1, BT-22
	Preceding            []Preceding       `json:"preceding_invoices,omitempty"`     // BG-3
	Seller               Party             `json:"seller"`                           // BG-4
	Buyer                Party             `json:"buyer"`                            // BG-7
	Payee                *Payee            `json:"payee,omitzero"`                   // BG-10
	Representative       *Party            `json:"tax_representative,omitzero"`      // BG-11
	Delivery             *Delivery         `json:"delivery,omitzero"`                // BG-13
	Period               *Period           `json:"period,omitzero"`                  // BG-14
	Payments             []PaymentMeans    `json:"payment_means,omitempty"`          // BG-16
	AllowancesAndCharges []AllowanceCharge `json:"allowances_and_charges,omitempty"` // BG-20, BG-21
	Totals               Totals            `json:"totals"`                           // BG-22
	TaxTotals            []TaxTotal        `json:"tax_totals,omitempty"`             // BT-110 and BT-111 with BG-23
	Documents            []Document        `json:"documents,omitempty"`              // BG-24
	Lines                []Line            `json:"lines"`                            // BG-25
}

// Date is a calendar day as in 2026-03-01.
type Date string

// Money is an amount in a currency.
type Money struct {
	Value    decimal.Decimal `json:"value"`
	Currency string          `json:"currency"` // ISO 4217
}

// Identifier is an identifier with the scheme that gives it.
type Identifier struct {
	Value  string `json:"value"`
	Scheme string `json:"scheme,omitzero"`
}

// Preceding is an invoice that this one corrects or credits (BG-3).
type Preceding struct {
	Number    string `json:"number"`              // BT-25
	IssueDate Date   `json:"issue_date,omitzero"` // BT-26
}

// Period is a span of days; either end may be open (BG-14, BG-26).
type Period struct {
	Start Date `json:"start,omitzero"` // BT-73, BT-134
	End   Date `json:"end,omitzero"`   // BT-74, BT-135
}

// Delivery says when and where the service was rendered (BG-13).
type Delivery struct {
	Name     string      `json:"name,omitzero"`     // BT-70
	Location *Identifier `json:"location,omitzero"` // BT-71
	Date     Date        `json:"date,omitzero"`     // BT-72
	Address  *Address    `json:"address,omitzero"`  // BG-15
}

// PaymentMeans is how to pay (BG-16). Card and mandate are told by the code.
type PaymentMeans struct {
	Code         string `json:"code"`                   // BT-81, UNCL 4461
	Text         string `json:"text,omitzero"`          // BT-82
	Remittance   string `json:"remittance,omitzero"`    // BT-83
	Account      string `json:"account,omitzero"`       // BT-84, as an IBAN
	AccountName  string `json:"account_name,omitzero"`  // BT-85
	Provider     string `json:"provider,omitzero"`      // BT-86, as a BIC
	Card         string `json:"card,omitzero"`          // BT-87, its last 4 to 6 digits
	CardNetwork  string `json:"card_network,omitzero"`  // UBL wants one with a card
	CardHolder   string `json:"card_holder,omitzero"`   // BT-88
	Mandate      string `json:"mandate,omitzero"`       // BT-89
	DebitAccount string `json:"debit_account,omitzero"` // BT-91
}

// AllowanceCharge lowers (or, if Charge is set, raises) the sum of the document
// (BG-20, BG-21) or of a line (BG-27, BG-28).
type AllowanceCharge struct {
	Charge     bool             `json:"charge,omitzero"`
	Amount     *Money           `json:"amount,omitzero"`      // BT-92, 99, 136, 141
	Base       *Money           `json:"base,omitzero"`        // BT-93, 100, 137, 142
	Percent    *decimal.Decimal `json:"percent,omitempty"`    // BT-94, 101, 138, 143
	Tax        *Category        `json:"tax,omitzero"`         // BT-95/96, 102/103; of the document only
	Reason     string           `json:"reason,omitzero"`      // BT-97, 104, 139, 144
	ReasonCode string           `json:"reason_code,omitzero"` // BT-98, 105, 140, 145: UNCL 5189 or 7161
}

// Totals are the document's sums (BG-22); nil where the document has none.
type Totals struct {
	Lines      *Money `json:"lines,omitzero"`      // BT-106
	Allowances *Money `json:"allowances,omitzero"` // BT-107
	Charges    *Money `json:"charges,omitzero"`    // BT-108
	Net        *Money `json:"net,omitzero"`        // BT-109
	Gross      *Money `json:"gross,omitzero"`      // BT-112
	Prepaid    *Money `json:"prepaid,omitzero"`    // BT-113
	Rounding   *Money `json:"rounding,omitzero"`   // BT-114
	Payable    *Money `json:"payable,omitzero"`    // BT-115
}

// TaxTotal is the tax of the document in one currency: the document's with its
// breakdown (BT-110, BG-23), or the accounting one's without (BT-111).
type TaxTotal struct {
	Amount    *Money      `json:"amount,omitzero"`
	Breakdown []Breakdown `json:"breakdown,omitempty"`
}

// Breakdown is the tax of one category and rate (BG-23).
type Breakdown struct {
	Taxable             *Money   `json:"taxable,omitzero"`               // BT-116
	Tax                 *Money   `json:"tax,omitzero"`                   // BT-117
	Category            Category `json:"category"`                       // BT-118, BT-119
	ExemptionReason     string   `json:"exemption_reason,omitzero"`      // BT-120
	ExemptionReasonCode string   `json:"exemption_reason_code,omitzero"` // BT-121, VATEX
}

// Category is a tax category with its rate in percent.
type Category struct {
	Code string           `json:"code"`           // UNCL 5305
	Rate *decimal.Decimal `json:"rate,omitempty"` // nil for O
}

// Document is a supporting document (BG-24).
type Document struct {
	ID          string `json:"id"`                   // BT-122
	Description string `json:"description,omitzero"` // BT-123
	URI         string `json:"uri,omitzero"`         // BT-124
	FileName    string `json:"file_name,omitzero"`   // BT-125
	MediaType   string `json:"media_type,omitzero"`
	Content     []byte `json:"content,omitempty"`
}
