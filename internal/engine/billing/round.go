package billing

import (
	"math/big"
)

// Amount is money in minor units.
type Amount int64

// MaxAmount bounds every amount, so that sums of thousands of lines cannot overflow.
const MaxAmount Amount = 1e15

// MulDiv gives amount * numerator / denominator, rounded half away from zero.
// The product is exact; ErrTooLarge if the result is beyond MaxAmount.
func MulDiv(amount Amount, numerator, denominator int64) (Amount, error) {
	if denominator <= 0 {
		return 0, &Error{Rule: "DENOMINATOR", Field: "denominator", Text: "must be positive"}
	}
	product := new(big.Int).Mul(big.NewInt(int64(amount)), big.NewInt(numerator))
	return quotient(product, denominator)
}

// quotient rounds half away from zero: twice the magnitude plus the denominator,
// over twice the denominator, is the rounded magnitude.
func quotient(product *big.Int, denominator int64) (Amount, error) {
	negative := product.Sign() < 0
	d := big.NewInt(denominator)
	twice := new(big.Int).Abs(product)
	twice.Lsh(twice, 1).Add(twice, d)
	magnitude := twice.Quo(twice, new(big.Int).Lsh(d, 1))
	if !magnitude.IsInt64() || Amount(magnitude.Int64()) > MaxAmount {
		return 0, &Error{Rule: "AMOUNT_RANGE", Field: "amount", Text: "is beyond what an invoice can carry"}
	}
	if negative {
		return -Amount(magnitude.Int64()), nil
	}
	return Amount(magnitude.Int64()), nil
}
