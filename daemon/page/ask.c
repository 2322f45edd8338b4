/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <poll.h>
#include <string.h>
#include <time.h>

#include "page_internal.h"

int64_t pw_boot_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

bool pw_call_send(int channel, enum pw_call_kind kind)
{
	struct pw_call call = { .version = PW_SNAPSHOT_VERSION, .size = sizeof call, .kind = kind };

	return send(channel, &call, sizeof call, MSG_DONTWAIT | MSG_NOSIGNAL) == sizeof call;
}

#define ENDED(text) (memchr((text), '\0', sizeof(text)) != NULL)

static bool lists_ok(const struct pw_snapshot *s)
{
	if (s->fault_count > PW_FAULTS_SHOWN || s->recent_count > PW_RECENT_MAX)
		return false;
	for (unsigned i = 0; i < PW_LINES; i++)
		if (!ENDED(s->line[i].name) || !ENDED(s->line[i].fault))
			return false;
	for (unsigned i = 0; i < s->fault_count; i++)
		if (!ENDED(s->fault[i].name) || !ENDED(s->fault[i].words))
			return false;
	for (unsigned i = 0; i < s->recent_count; i++)
		if (s->recent[i].verdict < PW_DONE || s->recent[i].verdict > PW_MISSED)
			return false;
	return true;
}

bool pw_snapshot_ok(const void *bytes, size_t size)
{
	const struct pw_snapshot *s = bytes;

	return size == sizeof *s && s->version == PW_SNAPSHOT_VERSION && s->size == sizeof *s &&
	       s->phase >= PW_PARKED && s->phase < PW_PHASES && ENDED(s->bus) &&
	       ENDED(s->board) && ENDED(s->rung) && lists_ok(s);
}

/* 1: a snapshot; 0: nothing there; -1: the watch is gone. What is no snapshot is thrown away. */
static int receive(struct pw_ask *a)
{
	for (;;) {
		ssize_t n = recv(a->channel, &a->snapshot, sizeof a->snapshot,
				 MSG_DONTWAIT | MSG_TRUNC);

		if (n < 0 && errno == EINTR)
			continue;
		a->have = false;
		if (n < 0)
			return errno == EAGAIN ? 0 : -1;
		if (n == 0)
			return -1;
		if (pw_snapshot_ok(&a->snapshot, (size_t)n))
			return 1;
	}
}

bool pw_ask_drain(struct pw_ask *a)
{
	int r;

	do
		r = receive(a);
	while (r == 1);
	return r == 0;
}

static bool ask_now(struct pw_ask *a)
{
	struct pollfd p = { .fd = a->channel, .events = POLLIN };
	int64_t end_ms = pw_boot_ms() + a->wait_ms;

	if (!pw_ask_drain(a) || !pw_call_send(a->channel, PW_CALL_ASK))
		return false;
	for (int64_t left = a->wait_ms; left > 0; left = end_ms - pw_boot_ms()) {
		if (poll(&p, 1, (int)left) <= 0)
			continue;
		/* Late is stale: this process may itself have been stopped meanwhile. */
		int r = receive(a);

		if (r == -1)
			return false;
		if (r == 1 && pw_boot_ms() <= end_ms)
			return true;
	}
	return false;
}

const struct pw_snapshot *pw_ask(struct pw_ask *a)
{
	int64_t now = pw_boot_ms();

	if (a->have && now - a->taken_ms < a->fresh_ms)
		return &a->snapshot;
	if (now < a->silent_until_ms)
		return NULL;
	a->have = ask_now(a);
	a->taken_ms = pw_boot_ms();
	a->count += a->have;
	if (!a->have)
		a->silent_until_ms = a->taken_ms + a->rest_ms;
	return a->have ? &a->snapshot : NULL;
}
