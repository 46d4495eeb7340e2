package config

// examples are values that a setting may have, for messages that say what to
// write. A setting that is not listed takes the example of its type.
var examples = map[string]string{
	"name":                   `"Cellar"`,
	"time_zone":              `"Europe/Berlin"`,
	"listen":                 `":8080"`,
	"public_url":             `"https://laundry.example.org"`,
	"push_subject":           `"caretaker@example.org"`,
	"push_hosts":             `["push.example.org", ".push.example.net"]`,
	"trusted_proxies":        `["127.0.0.1"]`,
	"data":                   `"data"`,
	"folder":                 `"data/backup"`,
	"cert_file":              `"cert.pem"`,
	"key_file":               `"key.pem"`,
	"acme_host":              `"laundry.example.org"`,
	"acme_email":             `"caretaker@example.org"`,
	"nightly":                `"15 4 * * *"`,
	"monthly":                `"30 5 1 * *"`,
	"currency":               `"EUR"`,
	"call_uncollected_after": `"30m"`,
	"longer_hold_homes":      `["12", "14"]`,
	"dry_call_ahead":         `"3m"`,
	"assume_empty_after":     `"3h"`,
	"idle_for":               `"3m"`,
	"reserved_for":           `["12", "14"]`,
	"id":                     `"3b"`,
	"meter":                  `"washer-1"`,
	"topic":                  `"laundry/washer-1"`,
	"user":                   `"washer-1"`,
	"url":                    `"mqtt://broker.example.org:1883"`,
	"watts":                  `"/power"`,
	"wh":                     `"/energy"`,
	"time":                   `"/time"`,
	"file":                   `"recording.csv"`,
	"server":                 `"smtp.example.org"`,
	"from":                   `"laundry@example.org"`,
	"managers":               `["caretaker@example.org"]`,
	"password_env":           `"DRUMTURN_MAIL_PASSWORD"`,
	"language":               `"en"`,
	"password":               `"…" with the password in the quotes`,
	"token":                  `"…" with the token in the quotes`,
	"password_file":          `"secrets/washer-1"`,
	"token_file":             `"secrets/washer-1"`,
	"capacity_kg":            `7`,
	"rated_w":                `2300, without quotes and unit`,
	"plug_rated_w":           `3680, without quotes and unit`,
	"idle_below_w":           `3, without quotes and unit`,
	"runs_per_day":           `3`,
	"keep_days":              `90`,
	"days":                   `["saturday", "sunday"]`,
}

// exampleFor is what to write for a key.
func exampleFor(key, byType string) string {
	if e, ok := examples[key]; ok {
		return e
	}
	return byType
}
