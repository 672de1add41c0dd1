package probe

// Consistent overhead byte stuffing (S. Cheshire and M. Baker, IEEE/ACM Transactions on Networking 7(2), 1999): a frame
// holds no zero byte, so that a zero byte ends it and a reader finds the next frame after whatever noise. Our frames are
// at most 254 bytes, so that they are one block and cost one byte.

// appendStuffed appends p, stuffed and without delimiter. p has at most MaxFrame bytes.
func appendStuffed(dst, p []byte) []byte {
	code := len(dst)
	dst = append(dst, 1)
	for _, b := range p {
		if b == 0 {
			code = len(dst)
			dst = append(dst, 1)
			continue
		}
		dst = append(dst, b)
		dst[code]++
	}
	return dst
}

// unstuff undoes appendStuffed: p is what stood before the delimiter, dst has room for as much. It is false when p is not
// stuffed bytes.
func unstuff(dst, p []byte) (n int, ok bool) {
	for i := 0; i < len(p); {
		code := int(p[i])
		if code == 0 || i+code > len(p) {
			return 0, false
		}
		n += copy(dst[n:], p[i+1:i+code])
		if i += code; code < 0xff && i < len(p) {
			dst[n] = 0
			n++
		}
	}
	return n, true
}
