package coordinator

// CurrencyDigits is how many decimals the amounts of a currency have, by its
// ISO 4217 code; 2 where nothing else is known.
//
// Source: ISO 4217, list one (from memory; the test compares it with the tables
// of the Unicode CLDR and names where the two differ).
func CurrencyDigits(code string) int {
	switch code {
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	case "CLF", "UYW":
		return 4
	}
	return 2
}
