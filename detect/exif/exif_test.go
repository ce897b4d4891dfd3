package exif

import (
	"bytes"
	"encoding/binary"
	"reflect"
	"testing"
)

// tagged is an EXIF block with an orientation (tag 0x0112, of the given type) and a time of change (tag 0x0132), laid out as JEITA
// CP-3451 has it.
func tagged(order binary.AppendByteOrder, kind, orientation uint16) []byte {
	b := []byte("II*\x00")
	if order.String() == binary.BigEndian.String() {
		b = []byte("MM\x00*")
	}
	const dateAt = 8 + 2 + 2*12 + 4
	b = order.AppendUint32(b, 8)
	b = order.AppendUint16(b, 2)
	b = order.AppendUint32(order.AppendUint16(order.AppendUint16(b, 0x0112), kind), 1)
	if kind == 3 { // SHORT
		b = order.AppendUint16(order.AppendUint16(b, orientation), 0)
	} else {
		b = order.AppendUint32(b, uint32(orientation))
	}
	b = order.AppendUint32(order.AppendUint16(order.AppendUint16(b, 0x0132), 2), 20)
	b = order.AppendUint32(order.AppendUint32(b, dateAt), 0)
	return append(b, "2031:05:04 03:02:01\x00"...)
}

func segment(marker byte, body []byte) []byte {
	return append(binary.BigEndian.AppendUint16([]byte{0xff, marker}, uint16(len(body)+2)), body...)
}

func joined(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

func TestRead(t *testing.T) {
	start, scan := []byte("\xff\xd8"), []byte("\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00")
	block := tagged(binary.BigEndian, 3, 6)
	app1 := segment(0xe1, joined(header, block))
	chunk := joined(binary.BigEndian.AppendUint32(nil, uint32(len(block))), []byte("eXIf"), block, make([]byte, 4))
	xmp := segment(0xe1, []byte("http://ns.adobe.com/xap/1.0/\x00<x/>"))
	changed := []Stamp{{Time: "2031:05:04 03:02:01"}}
	nothing := Tags{Orientation: 1}
	for name, tt := range map[string]struct {
		file []byte
		want Tags
	}{
		"jpeg":                       {joined(start, app1, scan), Tags{6, changed}},
		"jpeg, fill bytes":           {joined(start, []byte{0xff, 0xff}, app1, scan), Tags{6, changed}},
		"jpeg, XMP first":            {joined(start, xmp, app1, scan), Tags{6, changed}},
		"jpeg, behind the scan":      {joined(start, scan, app1), nothing},
		"jpeg, cut short":            {joined(start, app1)[:40], nothing},
		"jpeg, a segment of nothing": {joined(start, []byte("\xff\xe1\x00\x00"), app1), nothing},
		"tiff, little-endian":        {tagged(binary.LittleEndian, 3, 8), Tags{8, changed}},
		"tiff, no such orientation":  {tagged(binary.LittleEndian, 3, 9), Tags{1, changed}},
		"tiff, orientation 0":        {tagged(binary.LittleEndian, 3, 0), Tags{1, changed}},
		"tiff, orientation a LONG":   {tagged(binary.LittleEndian, 4, 6), Tags{1, changed}},
		"png":                        {joined([]byte("\x89PNG\r\n\x1a\n"), chunk), Tags{6, changed}},
		"png, a chunk too large":     {joined([]byte("\x89PNG\r\n\x1a\n\x7f\xff\xff\xf0eXIf"), block), nothing},
		"text":                       {[]byte("Good morning, lake.\n"), nothing},
		"empty":                      {nil, nothing},
	} {
		if got := Read(bytes.NewReader(tt.file)); !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s: %+v, want %+v", name, got, tt.want)
		}
	}
}
