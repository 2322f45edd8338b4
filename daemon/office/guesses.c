/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Each wrong code is paid for by a while. An address may run up PW_GUESSES_FREE of them; a code has
 * 31^20 values, so this keeps the store from work more than it keeps anybody from guessing right.
 */
#include <string.h>

#include "intake_internal.h"

#define CREDIT_MS (PW_GUESSES_FREE * (int64_t)PW_GUESS_MS)

int64_t pw_guess_wait_ms(const struct pw_guesses *g, const char *address, int64_t now_ms)
{
	for (size_t i = 0; i < PW_GUESSERS; i++) {
		int64_t owed_ms = g->of[i].paid_ms - now_ms;

		/* More than can be owed: the clock was put back. */
		if (strcmp(g->of[i].address, address) == 0 && owed_ms <= CREDIT_MS &&
		    owed_ms > CREDIT_MS - PW_GUESS_MS)
			return owed_ms - (CREDIT_MS - PW_GUESS_MS);
	}
	return 0;
}

/* The address's own place, else the one that owes least. */
static size_t place_of(const struct pw_guesses *g, const char *address)
{
	size_t least = 0;

	for (size_t i = 0; i < PW_GUESSERS; i++) {
		if (strcmp(g->of[i].address, address) == 0)
			return i;
		if (g->of[i].paid_ms < g->of[least].paid_ms)
			least = i;
	}
	return least;
}

void pw_guess_wrong(struct pw_guesses *g, const char *address, int64_t now_ms)
{
	size_t i = place_of(g, address);

	if (strcmp(g->of[i].address, address) != 0 || g->of[i].paid_ms < now_ms ||
	    g->of[i].paid_ms > now_ms + CREDIT_MS)
		g->of[i].paid_ms = now_ms;
	snprintf(g->of[i].address, sizeof(g->of[i].address), "%s", address);
	g->of[i].paid_ms += PW_GUESS_MS;
}
