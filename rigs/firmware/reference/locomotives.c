#include "locomotives.h"

#include <stddef.h>
#include <string.h>

#include "defects.h"

static locomotive_t list[LOCOMOTIVES];
static uint8_t place; /* whose turn it is */

locomotive_t *locomotive_find(address_t a)
{
	for (uint8_t i = 0; i < LOCOMOTIVES; i++)
		if (list[i].address == a)
			return &list[i];
	return NULL;
}

locomotive_t *locomotive_enter(address_t a)
{
	locomotive_t *l = locomotive_find(a);
	if (l)
		return l;
	l = locomotive_find(0);
	if (!l)
		return NULL;
	memset(l, 0, sizeof *l);
	l->address = a;
	l->forward = true;
	return l;
}

void locomotive_release(address_t a)
{
	locomotive_t *l = locomotive_find(a);
	if (l)
		l->address = 0;
}

void locomotives_stop(void)
{
	for (uint8_t i = 0; i < LOCOMOTIVES; i++)
		list[i].step = 0;
}

void locomotives_clear(void) { memset(list, 0, sizeof list); }

/* Speed and function groups by turns. */
static void refresh(locomotive_t *l, packet_t *p)
{
	if (l->groups && (l->functions_next || !l->steps)) {
		do
			l->turn = l->turn + 1 < GROUPS ? l->turn + 1 : 0;
		while (!(l->groups & 1 << l->turn));
		l->functions_next = false;
		packet_functions(p, l->address, l->turn, l->functions);
		return;
	}
	l->functions_next = true;
	packet_speed(p, l->address, l->steps, l->step, l->forward, false);
}

bool locomotives_refresh(packet_t *p, address_t *whose, address_t but, address_t nor)
{
	if (HAS(STACK_OVERFLOW)) {
		uint8_t n = 0;
		for (uint8_t i = 0; i < LOCOMOTIVES; i++)
			n += list[i].address != 0;
		defect_frames(n);
	}
	for (uint8_t i = 0; i < LOCOMOTIVES; i++) {
		place = place + 1 < LOCOMOTIVES ? place + 1 : 0;
		locomotive_t *l = &list[place];
		if (!l->address || l->address == but || l->address == nor)
			continue;
		refresh(l, p);
		*whose = l->address;
		return true;
	}
	return false;
}
