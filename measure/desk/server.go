package desk

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"sync"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/safety"
	"ridgerule/measure/trace"
)

// Options say how a desk is opened; the zero value is ready.
type Options struct {
	Port     int  // to listen on; 0: any
	ReadOnly bool // nothing is changed

	// Write makes every output of a result into the folder that the command line named, and returns the content_sha256 of its
	// result.json; nil: none was named. The same plan written again, a review of it beside, gives the same.
	Write func(ctx context.Context, p *plan.Placed, r *measure.Result) (content string, err error)
	Log   func(method, path string, status int, took time.Duration) // of each request; nil: silent
	Now   func() time.Time                                          // nil: the clock
}

// Desk is a page on one scan and one plan, open to this machine only.
type Desk struct {
	session   *session
	options   Options
	secrets   *secrets
	listeners []net.Listener
	server    *http.Server
	handler   http.Handler
	ended     context.Context // done when the desk closes: what waits for a change ends then
	end       context.CancelFunc
	close     func() error // gives up what is served
}

// Open takes up the plan at path on a scan, or begins one, and listens on the loopback interface. Close it.
func Open(scan Scan, path string, o Options) (*Desk, error) {
	d, files, err := newDesk(o)
	if err != nil {
		return nil, err
	}
	if d.session, err = openSession(scan, path, o.ReadOnly, d.options.Now); err != nil {
		return nil, err
	}
	if err := d.listen(files, d.calls(), d.session.close); err != nil {
		return nil, errors.Join(err, d.session.close())
	}
	return d, nil
}

// newDesk is a desk that serves nothing yet, and the page's own files.
func newDesk(o Options) (*Desk, assets, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	files, err := newAssets()
	return &Desk{options: o, secrets: &secrets{}}, files, err
}

// listen opens the port and puts the gates before what is served; close gives that up.
func (d *Desk) listen(files assets, calls http.Handler, close func() error) (err error) {
	if d.listeners, err = listen(d.options.Port); err != nil {
		return err
	}
	d.close = close
	d.ended, d.end = context.WithCancel(context.Background())
	g := newGates(d.port(), d.secrets)
	g.log = d.options.Log
	d.handler = g.before(files, calls)
	d.server = &http.Server{Handler: d.handler, ReadHeaderTimeout: readHeaderFor, ReadTimeout: readFor, IdleTimeout: idleFor, MaxHeaderBytes: largestHeader}
	return nil
}

// listen opens the port on the loopback interface, in both versions of the protocol where the machine has both.
func listen(port int) ([]net.Listener, error) {
	first, err := net.Listen("tcp4", net.JoinHostPort("127.0.0.1", strconv.Itoa(port)))
	if err != nil {
		return nil, fmt.Errorf("desk: port %d cannot be had: %w", port, err)
	}
	all := []net.Listener{first}
	if second, err := net.Listen("tcp6", net.JoinHostPort("::1", portOf(first))); err == nil {
		all = append(all, second)
	}
	return all, nil
}

func portOf(l net.Listener) string {
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return port
}

func (d *Desk) port() string { return portOf(d.listeners[0]) }

// Address returns an address that opens the page in one tab, once.
func (d *Desk) Address() string {
	return "http://127.0.0.1:" + d.port() + "/#" + d.secrets.invite()
}

// ReadOnly says why the plan cannot be changed; "" when it can.
func (d *Desk) ReadOnly() string { return d.session.readOnly }

// How long what is being answered when a desk ends has to become whole.
const lastAnswers = 5 * time.Second

// Serve answers until ctx is done; then it finishes what it is saving and gives the plan up.
func (d *Desk) Serve(ctx context.Context) error {
	var all sync.WaitGroup
	failed := make(chan error, len(d.listeners))
	for _, l := range d.listeners {
		all.Go(func() {
			if err := d.server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
				failed <- err
			}
		})
	}
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	d.end()
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastAnswers)
	defer cancel()
	if d.server.Shutdown(last) != nil {
		_ = d.server.Close()
	}
	all.Wait()
	return errors.Join(err, d.close())
}

// calls are what the page asks for.
func (d *Desk) calls() http.Handler {
	s := d.session
	mux := http.NewServeMux()
	call := func(pattern string, f func(w http.ResponseWriter, r *http.Request) error) {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) { answer(w, r, f(w, r)) })
	}
	call("POST "+enterPath, d.enter)
	call("POST /api/invite", func(w http.ResponseWriter, _ *http.Request) error {
		return send(w, map[string]string{"address": d.Address()})
	})
	call("GET /api/state", func(w http.ResponseWriter, _ *http.Request) error { return d.sendState(w) })
	call("GET /api/watch", d.watch)
	call("POST /api/do", d.do)
	call("POST /api/undo", d.turn(verbUndo))
	call("POST /api/redo", d.turn(verbRedo))
	call("POST /api/review", d.review)
	call("POST /api/output", d.output)
	call("POST /api/trace", d.trace)
	call("POST /api/distances", d.distances)
	call("POST /api/snap", d.snap)
	call("GET /api/tooth", d.tooth)
	call("GET /api/propose", d.propose)
	call("GET /api/numbers", func(w http.ResponseWriter, r *http.Request) error {
		now, _ := s.current()
		n, err := s.numbers(r.Context(), now)
		if err != nil {
			return err
		}
		return send(w, n)
	})
	call("GET /api/alignment", d.alignment)
	call("POST /api/alignment", d.acceptAlignment)
	call("GET /api/board", d.board)
	call("GET /api/axial", s.axial)
	call("GET /api/across", s.across)
	call("GET /api/section", s.section)
	call("GET /api/lengthwise", s.lengthwise)
	call("GET /api/panoramic", s.panoramic)
	return mux
}

// enter gives a tab its secret.
func (d *Desk) enter(w http.ResponseWriter, r *http.Request) error {
	secret := d.secrets.enter(r.Header.Get("Authorization"))
	if secret == "" {
		http.Error(w, "used", http.StatusUnauthorized)
		return nil
	}
	return send(w, map[string]string{"secret": secret})
}

func (d *Desk) sendState(w http.ResponseWriter) error {
	now := d.session.state()
	now.Outputs = d.options.Write != nil
	w.Header().Set("ETag", `"`+now.Tag+`"`)
	return send(w, now)
}

// How long a page waits for news before it asks again, and how often the plan's file is looked at meanwhile.
const (
	watchFor  = 20 * time.Second
	lookEvery = time.Second
)

// watch answers when the plan is another than the page has, or after a while.
func (d *Desk) watch(w http.ResponseWriter, r *http.Request) error {
	over := time.NewTimer(watchFor)
	defer over.Stop()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		now, changed := d.session.current()
		if now.tag != r.URL.Query().Get("tag") {
			return d.sendState(w)
		}
		select {
		case <-changed:
		case <-look.C:
		case <-over.C:
			return d.sendState(w)
		case <-d.ended.Done():
			return d.sendState(w)
		case <-r.Context().Done():
			return nil
		}
	}
}

func (d *Desk) do(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[struct {
		Words string `json:"words"`
		Edits []edit `json:"edits"`
	}](r)
	if err != nil {
		return err
	}
	if err := d.session.do(asked.Words, tagOf(r), asked.Edits); err != nil {
		return err
	}
	return d.sendState(w)
}

func (d *Desk) turn(verb string) func(w http.ResponseWriter, r *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		if err := d.session.turn(verb, tagOf(r)); err != nil {
			return err
		}
		return d.sendState(w)
	}
}

// trace proposes a canal between marks.
func (d *Desk) trace(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[struct {
		Marks []point `json:"marks"`
	}](r)
	if err != nil {
		return err
	}
	var marks []r3.Vec
	for _, m := range asked.Marks {
		marks = append(marks, vecOf(m))
	}
	p, err := trace.Follow(r.Context(), d.session.scan.Volume, marks, trace.Options{})
	if err != nil {
		return fmt.Errorf("%w: %w", ErrAct, err)
	}
	low := ""
	for _, s := range p.Low {
		low += fmt.Sprintf("low confidence from %.1f to %.1f mm along it: look there first. ", s.From, s.To)
	}
	return send(w, map[string]any{"path": pointsOf(p.Points), "radii_mm": p.Radii, "sd_mm": p.MarkingSD(), "confidence": p.Confidence,
		"mean": p.MeanConfidence(), "length_mm": p.Length, "low": low})
}

// distances answers while an implant is moved.
func (d *Desk) distances(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[struct {
		Site     int     `json:"site"`
		Platform point   `json:"platform"`
		Axis     point   `json:"axis"`
		Diameter float64 `json:"diameter_mm"`
		Length   float64 `json:"length_mm"`
	}](r)
	if err != nil {
		return err
	}
	now, _ := d.session.current()
	axis, ok := unit(asked.Axis)
	if now.placed == nil || asked.Site < 0 || asked.Site >= len(now.placed.Sites) || !ok {
		return fmt.Errorf("%w: no such implant", ErrAct)
	}
	im := safety.Implant{Platform: vecOf(asked.Platform), Axis: axis, Diameter: asked.Diameter, Length: asked.Length}
	rows, err := distances(now, now.placed.Sites[asked.Site], im)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrAct, err)
	}
	return send(w, map[string]any{"rows": rows, "implant": bodyOf(im)})
}

// tooth proposes the tooth at an arc length.
func (d *Desk) tooth(w http.ResponseWriter, r *http.Request) error {
	now, _ := d.session.current()
	out := map[string]string{"tooth": "", "name": ""}
	if c := now.curve(); c != nil {
		arc := number(r.URL.Query(), "arc", 0, c.Length(), 0)
		if t, ok := now.laid.Landmarks.Tooth(now.plan.Jaw, arc); ok {
			out["tooth"], out["name"] = t.String(), t.Words(t.Side())
		}
	}
	return send(w, out)
}
