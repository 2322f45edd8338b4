/* SPDX-License-Identifier: Apache-2.0 */
/* Alerts go first and alone, also between two stretches, until each is receipted. */
#include "uplink_internal.h"

#include <stdlib.h>
#include <string.h>

/* What is told unasked sets off what waits for nothing else. */
static void take_news(struct pw_uplink *u)
{
	const int64_t now_ms = pw_uplink_now_ms();

	if (!u->hands.news)
		return;
	u->hands.news = false;
	if (u->idle)
		u->records.at_ms = now_ms;
	if (u->hands.alerts > 0)
		u->alerts.at_ms = now_ms > u->alerts.asked_ms ? now_ms : u->alerts.asked_ms;
}

/* The office is there: what waits for that need wait no longer. */
static void wake_records(struct pw_uplink *u)
{
	const int64_t now_ms = pw_uplink_now_ms();

	if (!u->idle && u->state == PW_D_AWAY && u->records.at_ms > now_ms)
		u->records.at_ms = now_ms > u->records.asked_ms ? now_ms : u->records.asked_ms;
}

/* The oldest from there on. 1: there may be more to send; 0: not now; -1: the writer is gone. */
static int send_one(struct pw_uplink *u, uint64_t *from, struct pw_reply *reply)
{
	struct pw_hand h;
	size_t length;
	char *text;

	memset(&h, 0, sizeof(h));
	h.kind = PW_H_ALERT;
	h.first = *from;
	memset(reply, 0, sizeof(*reply));
	reply->said = PW_SAID_SO;
	if (pw_hands_ask(&u->hands, &h, &text, &length) < 0)
		return -1;
	if (text == NULL)
		return 0;
	*from = h.seq + 1;
	pw_link_alert(u->link, h.bus, text, length, reply);
	free(text);
	if (reply->said == PW_SAID_SO && pw_uplink_hand_over(u, &reply->receipt, reply) < 0)
		return -1;
	return reply->said == PW_SAID_SO || reply->said == PW_SAID_REFUSED;
}

/* One that is refused does not keep the others back. 0; -1: the writer is gone. */
static int send_all(struct pw_uplink *u)
{
	struct pw_reply reply, failed = { .said = PW_SAID_SO };
	uint64_t from = 0;
	int got;

	do {
		got = send_one(u, &from, &reply);
		if (got < 0)
			return -1;
		if (reply.said != PW_SAID_SO && failed.said == PW_SAID_SO)
			failed = reply;
		else if (got > 0 && reply.said == PW_SAID_SO)
			wake_records(u);
	} while (got > 0);
	if (failed.said != PW_SAID_SO) {
		pw_uplink_failed(u, &u->alerts, &failed);
		return 0;
	}
	u->hands.alerts = 0;
	u->alerts = (struct pw_turn){ .at_ms = pw_uplink_now_ms() };
	return 0;
}

int pw_uplink_alerts(struct pw_uplink *u)
{
	if (pw_hands_drain(&u->hands) < 0)
		return -1;
	take_news(u);
	while (u->hands.alerts > 0 && pw_uplink_now_ms() >= u->alerts.at_ms)
		if (send_all(u) < 0)
			return -1;
	return 0;
}
