package review

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/jpeg"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"shadowgap/detect"
	"shadowgap/internal/media"
)

type served struct {
	h     *handler
	store *FileStore
	caps  []detect.CaptureRecord
	marks []detect.MarkRecord
	dir   string
}

func serveTest(t *testing.T) served {
	t.Helper()
	dir, caps, marks := testRun(t, 3)
	store := testStore(t)
	h, err := newHandler(store, caps, marks, ServeOptions{RunDir: dir, Log: zerolog.Nop()}, "127.0.0.1:4711")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.Close() })
	return served{h, store, caps, marks, dir}
}

// ask sends a request as our own page would; edit may spoil it.
func (s served) ask(method, path, body string, edit func(*http.Request)) *http.Response {
	r := httptest.NewRequest(method, "http://127.0.0.1:4711/"+s.h.token+"/"+path, strings.NewReader(body))
	if method == http.MethodPost {
		r.Header.Set("Origin", "http://127.0.0.1:4711")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Content-Type", "application/json")
	}
	if edit != nil {
		edit(r)
	}
	w := httptest.NewRecorder()
	s.h.ServeHTTP(w, r)
	return w.Result()
}

func TestServerStoresAndShowsDecisions(t *testing.T) {
	s := serveTest(t)
	d := decision(Accept, s.marks[0])
	b, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // a repeated post, as after a lost answer, changes nothing
		if res := s.ask("POST", "api/decisions", string(b), nil); res.StatusCode != 200 {
			t.Fatalf("status %d", res.StatusCode)
		}
	}
	var f DecisionsFile
	res := s.ask("GET", "decisions.json", "", nil)
	if err := json.NewDecoder(res.Body).Decode(&f); err != nil || len(f.Decisions) != 1 || f.Decisions[0].ID != d.ID {
		t.Fatalf("decisions.json: %+v, %v", f, err)
	}
	page, err := io.ReadAll(s.ask("GET", "", "", nil).Body)
	if err != nil || !bytes.Contains(page, []byte(d.ID)) {
		t.Errorf("the page does not know the decision (%v)", err)
	}
	f.Decisions = append(f.Decisions, decision(Reject, s.marks[1]))
	b, err = json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	err = json.NewDecoder(s.ask("POST", "api/take", string(b), nil).Body).Decode(&got)
	if err != nil || got["added"] != 1.0 || got["known"] != 1.0 {
		t.Errorf("taken %v, %v", got, err)
	}
}

// beyondScreen is a layout whose panel is wider than its screen.
const beyondScreen = `{"width":800,"height":480,"panel":{"x":0,"y":0,"w":900,"h":400},"nadir":100,"side":""}`

// rebound makes a request one of a page whose name was made to lead to this server.
func rebound(r *http.Request) {
	r.Host = "evil.example"
	r.Header.Set("Origin", "http://evil.example")
}

func TestServerRefuses(t *testing.T) {
	s := serveTest(t)
	good, err := json.Marshal(decision(Accept, s.marks[0]))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(s.dir, "secret.jpg"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	header := func(k, v string) func(*http.Request) { return func(r *http.Request) { r.Header.Set(k, v) } }
	for name, tc := range map[string]struct {
		method, path, body string
		edit               func(*http.Request)
		want               int
	}{
		"a page elsewhere posts":       {"POST", "api/decisions", string(good), header("Origin", "https://evil.example"), 403},
		"no origin":                    {"POST", "api/decisions", string(good), func(r *http.Request) { r.Header.Del("Origin") }, 403},
		"null origin":                  {"POST", "api/decisions", string(good), header("Origin", "null"), 403},
		"same host, other port":        {"POST", "api/decisions", string(good), header("Origin", "http://127.0.0.1:9"), 403},
		"browser says cross-site":      {"POST", "api/decisions", string(good), header("Sec-Fetch-Site", "cross-site"), 403},
		"form post":                    {"POST", "api/decisions", string(good), header("Content-Type", "application/x-www-form-urlencoded"), 403},
		"plain text post":              {"POST", "api/take", "{}", header("Content-Type", "text/plain"), 403},
		"rebound name":                 {"GET", "", "", func(r *http.Request) { r.Host = "evil.example:4711" }, 421},
		"rebound name posts":           {"POST", "api/decisions", string(good), rebound, 421},
		"wrong token":                  {"GET", "", "", func(r *http.Request) { r.URL.Path = "/" + strings.Repeat("A", 32) + "/" }, 404},
		"no token":                     {"GET", "", "", func(r *http.Request) { r.URL.Path = "/" }, 404},
		"no token, page's name":        {"GET", "", "", func(r *http.Request) { r.URL.Path = "/review.html" }, 404},
		"token cut short":              {"GET", "", "", func(r *http.Request) { r.URL.Path = "/" + s.h.token[:31] + "/" }, 404},
		"out of the folder":            {"GET", "overlays/..%2f..%2fetc%2fpasswd", "", nil, 404},
		"out of the folder, plain":     {"GET", "", "", func(r *http.Request) { r.URL.Path = "/" + s.h.token + "/overlays/../secret.jpg" }, 404},
		"another file of the run":      {"GET", "secret.jpg", "", nil, 404},
		"listing a folder":             {"GET", "overlays/", "", nil, 404},
		"picture not there":            {"GET", "overlays/00000000000000000000.jpg", "", nil, 404},
		"sheet not there":              {"GET", SheetName, "", nil, 404},
		"printed page not there":       {"GET", PrintedName, "", nil, 404},
		"shared capture not there":     {"GET", "share/3.jpg", "", nil, 404},
		"shared capture below none":    {"GET", "share/-1.jpg", "", nil, 404},
		"shared capture no number":     {"GET", "share/x.jpg", "", nil, 404},
		"no such page":                 {"GET", "review-2.html", "", nil, 404},
		"export not offered":           {"GET", "export/places.gpx", "", nil, 404},
		"export of another file":       {"GET", "export/run.db", "", nil, 404},
		"layout from elsewhere":        {"POST", "api/layout", "{}", header("Origin", "https://evil.example"), 403},
		"layout outside the screen":    {"POST", "api/layout", beyondScreen, nil, 400},
		"layout with unknown field":    {"POST", "api/layout", `{"path":"/etc"}`, nil, 400},
		"group that is no id":          {"POST", "api/decisions", strings.Replace(string(good), `"action"`, `"group":"x","action"`, 1), nil, 400},
		"other method":                 {"DELETE", "api/decisions", "", nil, 405},
		"not JSON":                     {"POST", "api/decisions", "accept all", nil, 400},
		"unknown field":                {"POST", "api/decisions", `{"sudo":true}`, nil, 400},
		"too large":                    {"POST", "api/decisions", `{"note":"` + strings.Repeat("x", maxBody) + `"}`, nil, 400},
		"mark of another run":          {"POST", "api/decisions", strings.Replace(string(good), `"mark":"m1"`, `"mark":"m77"`, 1), nil, 400},
		"taking in another schema":     {"POST", "api/take", `{"schema":9}`, nil, 400},
		"taking in a broken decision":  {"POST", "api/take", `{"schema":1,"decisions":[{"id":"1"}]}`, nil, 400},
		"unchanged, so that all count": {"GET", "", "", nil, 200},
	} {
		t.Run(name, func(t *testing.T) {
			res := s.ask(tc.method, tc.path, tc.body, tc.edit)
			// The router answers an unclean path by sending the browser to the clean one, which must not exist either.
			if res.StatusCode/100 == 3 {
				to := res.Header.Get("Location")
				res = s.ask(tc.method, "", "", func(r *http.Request) { r.URL.Path = to })
			}
			if res.StatusCode != tc.want {
				t.Errorf("status %d, want %d", res.StatusCode, tc.want)
			}
			body, err := io.ReadAll(res.Body)
			if err != nil {
				t.Fatal(err)
			}
			if tc.want != 200 && bytes.Contains(body, []byte(s.h.token)) {
				t.Error("the answer gives the token away")
			}
			for _, k := range []string{"Content-Security-Policy", "X-Content-Type-Options", "Referrer-Policy", "X-Frame-Options"} {
				if res.Header.Get(k) == "" {
					t.Errorf("no %s", k)
				}
			}
		})
	}
	if ds, err := s.store.All(context.Background()); err != nil || len(ds) != 0 {
		t.Errorf("%d decisions got through, %v", len(ds), err)
	}
}

func TestServerDoesNotFollowALinkOutOfTheRun(t *testing.T) {
	s := serveTest(t)
	outside := filepath.Join(t.TempDir(), "private.jpg")
	if err := os.WriteFile(outside, []byte("private"), 0o600); err != nil {
		t.Fatal(err)
	}
	const name = "overlays/0123456789abcdef0123.jpg"
	if err := os.Symlink(outside, filepath.Join(s.dir, name)); err != nil {
		t.Skipf("no symbolic links here: %v", err)
	}
	if res := s.ask("GET", name, "", nil); res.StatusCode != 404 {
		t.Errorf("status %d for a link out of the run, want 404", res.StatusCode)
	}
	plain := media.Of(s.caps[0].Capture, s.caps[0].SHA256).Plain
	if res := s.ask("GET", plain, "", nil); res.StatusCode != 200 || res.Header.Get("Content-Type") != "image/jpeg" {
		t.Errorf("status %d, type %s for a picture of the run", res.StatusCode, res.Header.Get("Content-Type"))
	}
}

func TestServerExportsAndShares(t *testing.T) {
	s := serveTest(t)
	s.h.write = func(_ context.Context, name string, w io.Writer) error {
		if name != "places.gpx" {
			return fs.ErrNotExist
		}
		_, err := io.WriteString(w, "<gpx/>")
		return err
	}
	for name, want := range map[string]int{"places.gpx": 200, "first.gpx": 404, "run.db": 404} {
		if res := s.ask("GET", "export/"+name, "", nil); res.StatusCode != want {
			t.Errorf("%s: status %d, want %d", name, res.StatusCode, want)
		}
	}
	// A printed page that the run has is made anew before it is shown; one that it has not is not made.
	s.h.print = func(_ context.Context, name string) error {
		return os.WriteFile(filepath.Join(s.dir, name), []byte("anew"), 0o600)
	}
	if err := os.WriteFile(filepath.Join(s.dir, PrintedName), []byte("before"), 0o600); err != nil {
		t.Fatal(err)
	}
	if b, err := io.ReadAll(s.ask("GET", PrintedName, "", nil).Body); err != nil || string(b) != "anew" {
		t.Errorf("the printed page is %q, %v", b, err)
	}
	if res := s.ask("GET", SheetName, "", nil); res.StatusCode != 404 {
		t.Errorf("status %d for a contact sheet that nobody asked for", res.StatusCode)
	}
	// The picture to share shows what was decided: without its rejected marks it is another one.
	look := func() (image.Image, []byte) {
		t.Helper()
		res := s.ask("GET", "share/0.jpg", "", nil)
		b, err := io.ReadAll(res.Body)
		if err != nil || res.StatusCode != 200 {
			t.Fatalf("status %d, %v", res.StatusCode, err)
		}
		img, err := jpeg.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatal(err)
		}
		return img, b
	}
	before, b := look()
	if d := os.Getenv("SHADOWGAP_LOOK"); d != "" {
		if err := os.WriteFile(filepath.Join(d, "share.jpg"), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if before.Bounds().Dx() < shareLeast || before.Bounds().Dy() < 480 {
		t.Errorf("a picture of %v", before.Bounds())
	}
	if _, err := s.store.Append(context.Background(), decision(Reject, s.marks[0]), decision(Reject, s.marks[1])); err != nil {
		t.Fatal(err)
	}
	if after, _ := look(); after.Bounds().Dy() >= before.Bounds().Dy() {
		t.Errorf("with two marks rejected the picture is %d high, before %d", after.Bounds().Dy(), before.Bounds().Dy())
	}
	if err := os.Remove(filepath.Join(s.dir, media.Of(s.caps[0].Capture, s.caps[0].SHA256).Plain)); err != nil {
		t.Fatal(err)
	}
	if res := s.ask("GET", "share/0.jpg", "", nil); res.StatusCode != 404 {
		t.Errorf("status %d without a picture, want 404", res.StatusCode)
	}
}

type brokenStore struct{}

func (brokenStore) Append(context.Context, ...Decision) (int, error) {
	return 0, errors.New("disk full at /private/place")
}
func (brokenStore) All(context.Context) ([]Decision, error) { return nil, nil }

func TestServerSaysWhenADecisionIsNotStored(t *testing.T) {
	s := serveTest(t)
	s.h.store = brokenStore{}
	b, err := json.Marshal(decision(Accept, s.marks[0]))
	if err != nil {
		t.Fatal(err)
	}
	res := s.ask("POST", "api/decisions", string(b), nil)
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != 500 || strings.Contains(string(body), "private") {
		t.Errorf("status %d, body %q, %v; want 500 without the details", res.StatusCode, body, err)
	}
}

func TestServeListensOnLoopbackOnlyAndStops(t *testing.T) {
	dir, caps, marks := testRun(t, 1)
	for _, addr := range []string{"0.0.0.0:0", ":0", "192.0.2.1:80", "[::]:0", "nonsense"} {
		if err := Serve(context.Background(), testStore(t), caps, marks, ServeOptions{RunDir: dir, Addr: addr, Log: zerolog.Nop()}); err == nil {
			t.Errorf("%s was listened on", addr)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	ready, done := make(chan string, 1), make(chan error, 1)
	go func() {
		done <- Serve(ctx, testStore(t), caps, marks, ServeOptions{RunDir: dir, Log: zerolog.Nop(), Ready: func(u string) { ready <- u }})
	}()
	var at string
	select {
	case at = <-ready:
	case err := <-done:
		t.Fatal(err)
	case <-time.After(5 * time.Second):
		t.Fatal("not ready")
	}
	u, err := url.Parse(at)
	if err != nil || !net.ParseIP(u.Hostname()).IsLoopback() || len(strings.Trim(u.Path, "/")) < 32 {
		t.Fatalf("url %s, %v", at, err)
	}
	res, err := http.Get(at)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != 200 {
		t.Errorf("status %d", res.StatusCode)
	}
	// Browsers open connections before they ask for anything; such a one is neither idle nor done.
	silent, err := net.Dial("tcp", u.Host)
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	cancel()
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("does not stop with its context")
	}
}
