/* SPDX-License-Identifier: Apache-2.0 */
/* Whose turn it is: alerts, a contact, or to wait for the writer, the network or the clock. */
#include "uplink_internal.h"

#include <poll.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

const struct pw_uplink_pace pw_uplink_pace = {
	.backoff_ms = pw_backoff_ms, .look_ms = 60000, .network_ms = 30000, .answer_ms = 30000,
};

void pw_uplink_tell(struct pw_uplink *u, enum pw_delivery_state state, const char *words)
{
	static const char *const heads[] = {
		[PW_D_AWAY] = "the office is away", [PW_D_SENDING] = "the office is there",
		[PW_D_DONE] = "all that is sealed is in the office", [PW_D_REFUSED] = "refused",
	};
	char fitting[sizeof(u->words)];

	pw_fit(fitting, sizeof(fitting), words);
	pw_hands_say(&u->hands, state, fitting);
	if (state == u->state && strcmp(fitting, u->words) == 0)
		return;
	u->state = state;
	memcpy(u->words, fitting, sizeof(u->words));
	pw_uplink_log(state == PW_D_REFUSED ? LOG_WARNING : LOG_INFO, "%s%s%s", heads[state],
		      fitting[0] ? ": " : "", fitting);
}

static void hurry(struct pw_turn *turn, int64_t at_ms)
{
	const int64_t soon_ms = at_ms > turn->asked_ms ? at_ms : turn->asked_ms;

	if (turn->at_ms > soon_ms)
		*turn = (struct pw_turn){ .at_ms = soon_ms, .asked_ms = turn->asked_ms };
}

/* The network often comes in several steps, and changes for other reasons: not too often. */
void pw_uplink_hurry(struct pw_uplink *u)
{
	const int64_t now_ms = pw_uplink_now_ms();
	int64_t at_ms = now_ms + u->pace->backoff_ms(0, false, 0, randombytes_random());

	if (u->idle && u->hands.alerts == 0)
		return;
	if (u->network_ms != 0 && at_ms < u->network_ms + u->pace->network_ms)
		at_ms = u->network_ms + u->pace->network_ms;
	u->network_ms = at_ms;
	hurry(&u->records, at_ms);
	hurry(&u->alerts, at_ms);
}

static void wait_for_more(struct pw_uplink *u)
{
	struct pollfd p[] = { { .fd = u->hands.fd, .events = POLLIN },
			      { .fd = u->network, .events = POLLIN } };
	int64_t until_ms = u->records.at_ms, left_ms;

	if (u->hands.alerts > 0 && u->alerts.at_ms < until_ms)
		until_ms = u->alerts.at_ms;
	left_ms = until_ms - pw_uplink_now_ms();
	if (left_ms <= 0)
		return;
	poll(p, 2, left_ms > 3600000 ? 3600000 : (int)left_ms);
	if (p[1].revents & POLLIN && pw_network_came(u->network))
		pw_uplink_hurry(u);
}

void pw_uplink_turns(struct pw_uplink *u)
{
	u->records.at_ms = u->alerts.at_ms = pw_uplink_now_ms();
	while (pw_uplink_alerts(u) == 0) {
		if (pw_uplink_now_ms() < u->records.at_ms)
			wait_for_more(u);
		else if (pw_uplink_contact(u) < 0)
			return;
	}
}
