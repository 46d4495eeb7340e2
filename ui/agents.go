package ui

import "strings"

// Families of browsers and systems by what their User-Agent headers hold, the
// first that fits: some claim to be others as well (common practice, no source).
var (
	browserFamilies = [][2]string{
		{"Edg", "edge"}, {"Firefox", "firefox"}, {"FxiOS", "firefox"}, {"CriOS", "chrome"}, {"Chrome", "chrome"}, {"Safari", "safari"},
	}
	systemFamilies = [][2]string{
		{"Android", "android"}, {"iPhone", "iphone"}, {"iPad", "ipad"}, {"Windows", "windows"}, {"Mac OS", "mac"}, {"CrOS", "chromeos"}, {"Linux", "linux"},
	}
)

// agentNames are what people call the families, in every language.
var agentNames = map[string]string{
	"edge": "Edge", "firefox": "Firefox", "chrome": "Chrome", "safari": "Safari",
	"android": "Android", "iphone": "iPhone", "ipad": "iPad", "windows": "Windows", "mac": "Mac", "chromeos": "ChromeOS", "linux": "Linux",
}

// agentFamily is a browser and its system in short, such as "firefox android";
// what is not known is "other". Nothing of the header itself is kept.
func agentFamily(header string) string {
	if len(header) > 1024 {
		header = header[:1024]
	}
	return family(browserFamilies, header) + " " + family(systemFamilies, header)
}

func family(families [][2]string, header string) string {
	for _, f := range families {
		if strings.Contains(header, f[0]) {
			return f[1]
		}
	}
	return "other"
}
