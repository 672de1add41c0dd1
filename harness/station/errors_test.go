package station_test

import (
	"testing"

	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
)

func TestRefusalQuotesWhatTheStationSaid(t *testing.T) {
	for want, refused := range map[string]station.Refused{
		`the station refused`:                               {},
		`the station refused with code "7"`:                 {Code: "7"},
		`the station refused: "<b>\x1b[2J"`:                 {Text: "<b>\x1b[2J"},
		`the station refused with code "-222": "too large"`: {Code: "-222", Text: "too large"},
	} {
		assert.Equal(t, want, refused.Error())
	}
}
