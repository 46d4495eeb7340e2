package ui

import (
	"bytes"
	"compress/gzip"
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// keptPages are a scene's pages of its room, each made and compressed once: for
// visitors, for residents to whom nothing in the room belongs, and for each of
// the few to whom something does. They go with the scene.
type keptPages struct {
	visitors, residents keptPage
	own                 sync.Map     // coordinator.PersonID -> *ownPage
	frames              [8]keptFrame // by frameKind
}

// keptPage is a page that is made when first asked for; who asks meanwhile waits.
type keptPage struct {
	once sync.Once
	file assetFile
	err  error
}

// get compresses with zipper what make makes.
func (k *keptPage) get(zipper func([]byte) []byte, make func() ([]byte, error)) (assetFile, error) {
	k.once.Do(func() {
		var html []byte
		if html, k.err = make(); k.err == nil {
			k.file = assetFile{kind: echo.MIMETextHTMLCharsetUTF8, plain: html, zipped: zipper(html)}
		}
	})
	return k.file, k.err
}

// ownPage is the page of one person, as the people were.
type ownPage struct {
	people *coordinator.People
	page   *keptPage
}

// keptFrame is the page around the parts that are a person's own.
type keptFrame struct {
	once  sync.Once
	parts [][]byte // before the panel, between it and the board, behind the board
	err   error
}

// zippers compress pages with the middleware's level, and are used again.
var zippers = sync.Pool{New: func() any {
	w, _ := gzip.NewWriterLevel(nil, gzipLevel) // the level is valid
	return w
}}

// quickZip is zip for what one person sees.
func quickZip(data []byte) []byte {
	var b bytes.Buffer
	w := zippers.Get().(*gzip.Writer)
	w.Reset(&b)
	_, _ = w.Write(data) // a buffer takes all
	_ = w.Close()
	zippers.Put(w)
	return b.Bytes()
}

// isKept reports whether a request is for a room's page as it is kept: for nobody
// or a resident, with nothing to say of a form before.
func (s *Server) isKept(c echo.Context) bool {
	if c.Path() != "/r/:room" || c.Request().Method == http.MethodPost || c.Request().URL.RawQuery != "" {
		return false
	}
	return sentCookie(c, s.cookies.manager) == nil
}

// keptRoom finds the page of whoever asks, or makes it.
func (s *Server) keptRoom(c echo.Context, sc *scene, who *coordinator.Person) (assetFile, error) {
	if who == nil {
		return sc.kept.visitors.get(zip, func() ([]byte, error) { return s.page(c, "room", s.viewRoom(c, sc, nil)) })
	}
	people := s.o.House.People()
	if value, ok := sc.kept.own.Load(who.ID); ok && value.(*ownPage).people == people {
		return value.(*ownPage).page.get(nil, nil)
	}
	page, zipper := &keptPage{}, quickZip
	own := ownershipOf(sc.snap, who)
	if own == nil {
		page, zipper = &sc.kept.residents, zip
	}
	file, err := page.get(zipper, func() ([]byte, error) { return s.stitchRoom(c, sc, who, own) })
	if err == nil {
		sc.kept.own.Store(who.ID, &ownPage{people, page})
	}
	return file, err
}

// Comments stand where a person's own parts go; nothing that people write can
// hold one, for it is escaped.
const (
	minePlace  = "<!--mine-->"
	boardPlace = "<!--board-->"
)

// stitchRoom makes a resident's page: their panel and their board in the frame
// that they share with others.
func (s *Server) stitchRoom(c echo.Context, sc *scene, who *coordinator.Person, own *ownership) ([]byte, error) {
	kind := frameKind{free: own == nil, hasTurn: own != nil && len(own.turns) > 0}
	kind.ask = kind.hasTurn && s.asksForPush(who)
	parts, err := s.roomFrame(c, sc, kind)
	if err != nil {
		return nil, err
	}
	board := sc.public
	if own != nil {
		board = sc.board(own)
	}
	return bytes.Join([][]byte{parts[0], s.minePanel(sc, own, nil), parts[1], board, parts[2]}, nil), nil
}

// frameKind is what the frames of residents' pages differ by.
type frameKind struct {
	free, hasTurn bool // nothing in the room is theirs; a turn is
	ask           bool // for notices on a phone
}

func (k frameKind) index() int {
	i := 0
	for bit, set := range []bool{k.free, k.hasTurn, k.ask} {
		if set {
			i |= 1 << bit
		}
	}
	return i
}

// roomFrame draws what residents of a kind share.
func (s *Server) roomFrame(c echo.Context, sc *scene, kind frameKind) ([][]byte, error) {
	f := &sc.kept.frames[kind.index()]
	f.once.Do(func() {
		v := s.roomOf(sc)
		v.Resident, v.Free, v.HasTurn, v.PushAsk = true, kind.free, kind.hasTurn, kind.ask
		v.Mine, v.Board = minePlace, boardPlace
		html, err := s.page(c, "room", v)
		if err != nil {
			f.err = err
			return
		}
		before, rest, _ := bytes.Cut(html, []byte(minePlace))
		between, behind, _ := bytes.Cut(rest, []byte(boardPlace))
		f.parts = [][]byte{before, between, behind}
	})
	return f.parts, f.err
}

// asksForPush reports whether somebody could be told on a phone and is told on none.
func (s *Server) asksForPush(who *coordinator.Person) bool {
	return s.o.VAPIDKey != "" && len(s.o.House.People().Devices(who.ID)) == 0
}
