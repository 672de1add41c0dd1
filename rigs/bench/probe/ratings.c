#include "ratings.h"

const rating_t rating[TRACKS] PROGMEM = {
#if TRACKS == 2
	/* A count is 5 V / 1023 behind 1 V/A or 4 V/A. For ever the load bears 22 W on the main track and 11 W on the
	 * programming track, at the 22 V that a track may have. */
	{MAIN, 4888, 20000, 255, 50, 5000, 60, 30000},
	{PROGRAMMING, 1222, 4000, 255, 125, 5000, 60, 30000},
#else
	{PROGRAMMING, 1222, 10000, 63, 50, 5000, 60, 30000},
#endif
};
