package measure

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The photos' order changes nothing but the order in which the result lists them.
func TestOrderOfPhotosMeansNothing(t *testing.T) {
	settings := Settings{BeadSeatMm: 305}
	one, err := Measure(sampleInputs(t, "front.jpg", "rear.jpg"), settings)
	require.NoError(t, err)
	other, err := Measure(sampleInputs(t, "rear.jpg", "front.jpg"), settings)
	require.NoError(t, err)
	require.Equal(t, "front.jpg", one.Result.Photos[0].File)
	require.Equal(t, "rear.jpg", other.Result.Photos[0].File)
	for i := range 2 {
		require.Equal(t, one.Result.Photos[i], other.Result.Photos[1-i])
		require.Equal(t, one.Overlays[i], other.Overlays[1-i])
		require.Equal(t, one.Top.Cameras[i], other.Top.Cameras[1-i])
	}
	one.Result.Photos, other.Result.Photos = nil, nil
	require.Equal(t, one.Result, other.Result)
	one.Top.Cameras, other.Top.Cameras = nil, nil
	require.Equal(t, one.Top, other.Top)
	require.Equal(t, one.Cameras, other.Cameras)
}
