package track_test

import (
	"fmt"
	"strings"
	"time"

	"shadowgap/internal/track"
)

func ExampleTrack_At() {
	log := "time,lat,lon\n" +
		"2025-06-01T12:00:00Z,60.0000,25\n" +
		"2025-06-01T12:00:10Z,60.0002,25\n" // 22.3 m north in 10 s
	tr, err := track.Read(strings.NewReader(log), track.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fix, err := tr.At(time.Date(2025, 6, 1, 12, 0, 5, 0, time.UTC))
	fmt.Printf("%.4f %.4f, course %.0f°, %.1f m/s, within %.0f m, %v\n", fix.Lat, fix.Lon, fix.CourseDeg, fix.SpeedMS, fix.ErrorM, err)
	_, err = tr.At(time.Date(2025, 6, 1, 13, 0, 0, 0, time.UTC))
	fmt.Println(err)
	// Output:
	// 60.0001 25.0000, course 0°, 2.2 m/s, within 4 m, <nil>
	// 2025-06-01T13:00:00Z is after the last fix at 2025-06-01T12:00:10Z: outside the track's time
}
