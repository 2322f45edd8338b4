/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <poll.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "page_internal.h"

int64_t pw_boot_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

bool pw_call_send(int channel, enum pw_call_kind kind, uint32_t serial, const struct pw_act *act)
{
	struct pw_call call;

	memset(&call, 0, sizeof call);
	call.version = PW_SNAPSHOT_VERSION;
	call.size = sizeof call;
	call.kind = kind;
	call.serial = serial;
	if (act)
		call.act = *act;
	bool sent = send(channel, &call, sizeof call, MSG_DONTWAIT | MSG_NOSIGNAL) == sizeof call;

	sodium_memzero(&call, sizeof call); /* it may hold a PIN */
	return sent;
}

/* -- what came is looked at before it is read ----------------------------------------------------- */

#define ENDED(text) (memchr((text), '\0', sizeof(text)) != NULL)

bool pw_call_ok(const struct pw_call *c, size_t size)
{
	const struct pw_act *a = &c->act;

	if (size != sizeof *c || c->version != PW_SNAPSHOT_VERSION || c->size != sizeof *c ||
	    c->kind < PW_CALL_READY || c->kind > PW_CALL_ACT)
		return false;
	if (c->kind < PW_CALL_WIRES)
		return true;
	return ENDED(a->session) && ENDED(a->pin) && ENDED(a->who) && ENDED(a->words) &&
	       a->line < PW_LINES &&
	       (c->kind == PW_CALL_WIRES || (a->kind >= PW_A_FOUND && a->kind < PW_ACTS));
}

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

static bool day_ok(const struct pw_day *d)
{
	if (d->proofs > PW_LINES || d->defects > PW_DEFECTS_MAX || d->found.what >= PW_FOUND_WHATS ||
	    !ENDED(d->report.who) || !ENDED(d->review.who) || !ENDED(d->setup.who))
		return false;
	for (unsigned i = 0; i < d->proofs; i++)
		if (!ENDED(d->proof[i].line) || d->proof[i].how < PW_MOVED ||
		    d->proof[i].how >= PW_PROOF_HOWS)
			return false;
	for (unsigned i = 0; i < d->defects; i++)
		if (!ENDED(d->defect[i].who) || !ENDED(d->defect[i].words) || !ENDED(d->defect[i].by) ||
		    d->defect[i].what >= PW_FOUND_WHATS || d->defect[i].part >= PW_PARTS ||
		    d->defect[i].certified >= PW_REPORT_ACTS)
			return false;
	return true;
}

bool pw_snapshot_ok(const struct pw_snapshot *s)
{
	return s->version == PW_SNAPSHOT_VERSION && s->size == sizeof *s &&
	       s->phase >= PW_PARKED && s->phase < PW_PHASES && ENDED(s->bus) &&
	       ENDED(s->board) && ENDED(s->rung) && ENDED(s->call) && ENDED(s->policy) && s->trial_line < PW_LINES &&
	       s->delivery.state <= PW_D_REFUSED && ENDED(s->delivery.words) && lists_ok(s) &&
	       day_ok(&s->day);
}

static bool step_ok(const struct pw_wiring_step *s)
{
	return s->line < PW_LINES && s->other < PW_LINES && s->result < PW_WIRING_RESULTS;
}

bool pw_wires_ok(const struct pw_wires *w)
{
	if (w->version != PW_WIRES_VERSION || w->size != sizeof *w ||
	    w->wiring.steps > PW_WIRING_STEPS || w->wiring.at > w->wiring.steps ||
	    !step_ok(&w->wiring.look))
		return false;
	for (unsigned i = 0; i < PW_LINES; i++)
		if (!ENDED(w->wire[i].name) || w->wire[i].tail > PW_TAIL_MAX ||
		    w->wire[i].verdict >= PW_WIRE_VERDICTS)
			return false;
	for (unsigned i = 0; i < w->wiring.steps; i++)
		if (!step_ok(&w->wiring.step[i]))
			return false;
	return true;
}

bool pw_reply_ok(const struct pw_reply *r, size_t size)
{
	if (size < sizeof r->head || r->head.version != PW_SNAPSHOT_VERSION || r->head.size != size)
		return false;
	switch (r->head.kind) {
	case PW_REPLY_SNAPSHOT: return size == PW_REPLY_SIZE(snapshot) && pw_snapshot_ok(&r->of.snapshot);
	case PW_REPLY_WIRES: return size == PW_REPLY_SIZE(wires) && pw_wires_ok(&r->of.wires);
	case PW_REPLY_ACT: return size == PW_REPLY_SIZE(done) && ENDED(r->of.done.session) &&
				  r->of.done.role < PW_ROLES;
	}
	return false;
}

/* -- asking ---------------------------------------------------------------------------------------- */

/* 1: a reply; 0: nothing there; -1: the watch is gone. What is no reply is thrown away. */
static int receive(struct pw_ask *a)
{
	for (;;) {
		ssize_t n = recv(a->channel, &a->reply, sizeof a->reply, MSG_DONTWAIT | MSG_TRUNC);

		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0)
			return errno == EAGAIN ? 0 : -1;
		if (n == 0)
			return -1;
		if ((size_t)n <= sizeof a->reply && pw_reply_ok(&a->reply, (size_t)n))
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

/* The answer to this very call, in a->reply, within wait_ms. */
static bool call(struct pw_ask *a, enum pw_call_kind kind, const struct pw_act *act, int64_t wait_ms)
{
	struct pollfd p = { .fd = a->channel, .events = POLLIN };
	int64_t end_ms = pw_boot_ms() + wait_ms;

	a->serial++;
	if (!pw_ask_drain(a) || !pw_call_send(a->channel, kind, a->serial, act))
		return false;
	for (int64_t left = wait_ms; left > 0; left = end_ms - pw_boot_ms()) {
		if (poll(&p, 1, (int)left) <= 0)
			continue;
		/* Late is stale: this process may itself have been stopped meanwhile. */
		int r = receive(a);

		if (r == -1)
			return false;
		if (r == 1 && a->reply.head.serial == a->serial && pw_boot_ms() <= end_ms)
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
	a->have = call(a, PW_CALL_ASK, NULL, a->wait_ms) && a->reply.head.kind == PW_REPLY_SNAPSHOT;
	if (a->have)
		a->snapshot = a->reply.of.snapshot;
	a->taken_ms = pw_boot_ms();
	a->count += a->have;
	if (!a->have)
		a->silent_until_ms = a->taken_ms + a->rest_ms;
	return a->have ? &a->snapshot : NULL;
}

const struct pw_done_act *pw_ask_act(struct pw_ask *a, const struct pw_act *act)
{
	a->have = false; /* an act changes what is shown */
	if (!call(a, PW_CALL_ACT, act, a->act_wait_ms) || a->reply.head.kind != PW_REPLY_ACT)
		return NULL;
	return &a->reply.of.done;
}

void pw_ask_tell(struct pw_ask *a, const struct pw_act *act)
{
	a->serial++; /* its answer is none to what is asked next */
	pw_call_send(a->channel, PW_CALL_ACT, a->serial, act);
}

const struct pw_wires *pw_ask_wires(struct pw_ask *a, const char *session,
				    const struct pw_done_act **why)
{
	struct pw_act act;

	memset(&act, 0, sizeof act);
	snprintf(act.session, sizeof act.session, "%s", session);
	*why = NULL;
	if (!call(a, PW_CALL_WIRES, &act, a->wait_ms))
		return NULL;
	if (a->reply.head.kind == PW_REPLY_ACT)
		*why = &a->reply.of.done;
	return a->reply.head.kind == PW_REPLY_WIRES ? &a->reply.of.wires : NULL;
}
