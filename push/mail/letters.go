package mail

import (
	"strings"
	"time"

	"drumturn/push/words"
)

// Confirm is the letter that asks the owner of an address whether it may be
// used. link opens the page to say so, where code can be typed as well.
func (s *Server) Confirm(to, lang, link, code string, holds time.Duration) Letter {
	return s.once("confirm", to, lang, link, code, holds, "")
}

// Return is the letter with a one-time code for somebody who lost their phone.
// home is what residents call the home that the code is for.
func (s *Server) Return(to, lang, home, link, code string, holds time.Duration) Letter {
	return s.once("return", to, lang, link, code, holds, home)
}

func (s *Server) once(kind, to, lang, link, code string, holds time.Duration, home string) Letter {
	l := words.For(lang)
	say := func(key string) string {
		return line(l.Say("mail."+kind+"."+key, "building", s.Building, "code", code, "minutes", int(holds/time.Minute), "home", home))
	}
	return Letter{
		To: to, Lang: l.Code(), Subject: say("title"), Key: strings.Join([]string{kind, to, code}, "\n"),
		Text: text(say("body")+"\n"+link, say("code"), say("stranger")),
	}
}
