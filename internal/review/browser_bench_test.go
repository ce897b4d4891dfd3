package review

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"
)

// spent is how long the page's main thread has computed since the browser was told to count, in milliseconds. Unlike time by the
// clock it changes little on a busy machine.
type spent struct {
	all  float64 // tasks of every kind, the browser's own painting and clearing up among them
	page float64 // script, style and layout: what the page itself asks for
}

func cpu(t testing.TB, ctx context.Context) (s spent) {
	t.Helper()
	res, err := chromedp.Call(ctx, performance.GetMetrics, cdp.Empty{})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range res.Metrics {
		switch m.Name {
		case "TaskDuration":
			s.all = m.Value * 1000
		case "ScriptDuration", "LayoutDuration", "RecalcStyleDuration":
			s.page += m.Value * 1000
		}
	}
	return s
}

func countCPU(t testing.TB, ctx context.Context) {
	t.Helper()
	params := performance.EnableParams{TimeDomain: performance.EnableTimeDomainThreadTicks}
	if _, err := chromedp.Call(ctx, performance.Enable, params); err != nil {
		t.Fatal(err)
	}
}

// clock measures the main thread's time for each step.
func clock(b *testing.B, ctx context.Context, promise string) {
	b.Helper()
	var page, all []float64
	before := cpu(b, ctx)
	steps(b, ctx, promise, func() {
		after := cpu(b, ctx)
		all, page = append(all, after.all-before.all), append(page, after.page-before.page)
		before = after
	})
	slices.Sort(all)
	if slices.Max(page) <= 0 {
		b.Error("the browser counted nothing")
	}
	b.ReportMetric(all[len(all)*95/100], "ms-95th")
	b.ReportMetric(slices.Max(page), "page-ms-most")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkBrowser measures what the review page of 500 captures asks of a browser's main thread: ms-95th is the 95th percentile of
// all that is done for a step, page-ms-most the longest that a step's own script, style and layout take. A next item of the queue
// should stay within 100 ms of either, a step of scrolling or zooming within 200 and the first paint within 1,000.
func BenchmarkBrowser(b *testing.B) {
	open := func(b *testing.B, view, ready string) context.Context {
		ctx := browse(b, 1440, 900)
		do(b, ctx, chromedp.Navigate(surveyPage(b, 500)+view))
		until(b, ctx, ready)
		do(b, ctx, run(inPage))
		countCPU(b, ctx)
		return ctx
	}
	const places = `document.querySelectorAll('.place').length === 10`
	b.Run("view=paint", func(b *testing.B) {
		ctx := open(b, "", places)
		b.ReportMetric(js[float64](b, ctx, `performance.getEntriesByName('first-contentful-paint')[0].startTime`), "ms-first")
		b.ReportMetric(0, "ns/op")
	})
	b.Run("view=queue", func(b *testing.B) {
		clock(b, open(b, "#queue", `document.querySelector('#v-queue .card') !== null`), decideNext)
	})
	b.Run("view=captures", func(b *testing.B) {
		ctx := open(b, "#captures", listed)
		clock(b, ctx, fmt.Sprintf(scroll, `document.getElementById('side')`))
	})
	b.Run("view=places", func(b *testing.B) {
		ctx := open(b, "", places)
		do(b, ctx, run(morePlaces))
		until(b, ctx, `document.querySelectorAll('.place').length > 60`)
		clock(b, ctx, fmt.Sprintf(scroll, `document.scrollingElement`))
	})
	b.Run("view=map", func(b *testing.B) {
		clock(b, open(b, "#map", `document.querySelectorAll('#map-list li').length > 0`), zoom)
	})
}
