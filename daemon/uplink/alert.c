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
static void done(struct pw_uplink *u, uint64_t seq)
{
	const int64_t now_ms = pw_uplink_now_ms();

	u->alert = seq;
	u->alerts = (struct pw_turn){ .at_ms = now_ms };
	if (!u->idle && u->state == PW_D_AWAY && u->records.at_ms > now_ms)
		u->records.at_ms = now_ms > u->records.asked_ms ? now_ms : u->records.asked_ms;
}

static int judge(struct pw_uplink *u, struct pw_reply *reply)
{
	const uint64_t seq = reply->receipt.seq;
	int got = 0;

	if (reply->said == PW_SAID_SO) {
		got = pw_uplink_hand_over(u, &reply->receipt, reply);
		if (got < 0)
			return -1;
	}
	if (got > 0 && seq == u->alert) {
		pw_reply_set(reply, PW_SAID_REFUSED, "an alert that has its receipt is given again");
		got = 0;
	}
	if (got > 0)
		done(u, seq);
	else
		pw_uplink_failed(u, &u->alerts, reply);
	return 0;
}

/* The oldest. 0; -1: the writer is gone. */
static int send_one(struct pw_uplink *u)
{
	struct pw_reply reply;
	struct pw_hand h;
	size_t length;
	char *text;

	memset(&h, 0, sizeof(h));
	h.kind = PW_H_ALERT;
	if (pw_hands_ask(&u->hands, &h, &text, &length) < 0)
		return -1;
	if (text == NULL) {
		u->hands.alerts = 0;
		return 0;
	}
	pw_link_alert(u->link, h.bus, text, length, &reply);
	free(text);
	return judge(u, &reply);
}

int pw_uplink_alerts(struct pw_uplink *u)
{
	if (pw_hands_drain(&u->hands) < 0)
		return -1;
	take_news(u);
	while (u->hands.alerts > 0 && pw_uplink_now_ms() >= u->alerts.at_ms)
		if (send_one(u) < 0)
			return -1;
	return 0;
}
