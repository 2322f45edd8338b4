/* SPDX-License-Identifier: Apache-2.0 */
/* The lines that replay prints. */
#include <stdarg.h>
#include <stdio.h>

#include "postwalk/record.h"

struct text {
	char *buf;
	size_t size, n;
	bool full;
};

__attribute__((format(printf, 2, 3)))
static void add(struct text *t, const char *format, ...)
{
	va_list args;
	int n;

	if (t->full)
		return;
	va_start(args, format);
	n = vsnprintf(t->buf + t->n, t->size - t->n, format, args);
	va_end(args);
	t->full = n < 0 || (size_t)n >= t->size - t->n;
	t->n += t->full ? 0 : (size_t)n;
}

static int length(const struct text *t)
{
	return t->full ? -1 : (int)t->n;
}

/* Times of a kept state may lie before the start of a new boot's clock. */
static void add_seconds(struct text *t, int64_t ms)
{
	uint64_t left = ms < 0 ? 0 - (uint64_t)ms : (uint64_t)ms;

	add(t, "%s%llu.%03u", ms < 0 ? "-" : "", (unsigned long long)(left / 1000),
	    (unsigned)(left % 1000));
}

static void add_time(struct text *t, const char *key, int64_t ms)
{
	add(t, ",\"%s\":", key);
	if (ms == PW_NO_TIME)
		add(t, "null");
	else
		add_seconds(t, ms);
}

static int64_t span(int64_t from_ms, int64_t to_ms)
{
	return from_ms == PW_NO_TIME || to_ms == PW_NO_TIME ? PW_NO_TIME : to_ms - from_ms;
}

static void add_findings(struct text *t, uint32_t findings)
{
	const char *between = "";

	add(t, ",\"findings\":[");
	for (unsigned i = 0; i < PW_FINDINGS; i++) {
		if (!(findings >> i & 1))
			continue;
		add(t, "%s\"%s\"", between, pw_finding_name((enum pw_finding)i));
		between = ",";
	}
	add(t, "]");
}

static void add_refusals(struct text *t, const struct pw_sweep *w)
{
	add(t, ",\"refused\":[");
	for (uint32_t i = 0; i < w->refused && i < PW_REFUSALS_MAX; i++) {
		add(t, "%s{\"at_s\":", i ? "," : "");
		add_seconds(t, w->refusal[i].at_ms);
		add(t, ",\"why\":\"%s\"}", pw_why_name(w->refusal[i].why));
	}
	add(t, "]");
	if (w->refused > PW_REFUSALS_MAX)
		add(t, ",\"refused_more\":%u", w->refused - PW_REFUSALS_MAX);
}

static void add_sweep(struct text *t, const struct pw_sweep *w, const char *rung)
{
	add(t, "{\"kind\":\"sweep\"");
	add_time(t, "key_off_s", w->t0_ms);
	add(t, ",\"verdict\":\"%s\"", pw_verdict_name(w->verdict));
	add_findings(t, w->findings);
	add_time(t, "press_s", w->press_ms);
	add_time(t, "walk_s", span(w->t0_ms, w->press_ms));
	add_time(t, "late_s", w->late_ms);
	add_refusals(t, w);
	add_time(t, "exit_s", w->exit_ms);
	add_time(t, "return_s", span(w->press_ms, w->exit_ms));
	add(t, ",\"rung\":\"%s\"", rung);
	add_time(t, "closed_s", w->closed_ms);
	add(t, "}");
}

int pw_text_effect(const struct pw_effect *e, const struct pw_policy *p, char *buf, size_t size)
{
	struct text t = { .buf = buf, .size = size };

	switch (e->kind) {
	case PW_E_SWEEP:
		add_sweep(&t, e->sweep, p->signal[e->sweep->rung].name);
		break;
	case PW_E_RESTART:
		add(&t, "{\"kind\":\"restart\"");
		add_time(&t, "key_off_s", e->t0_ms);
		add_time(&t, "at_s", e->edge_ms);
		add(&t, "}");
		break;
	case PW_E_EXCUSED:
		add(&t, "{\"kind\":\"excused\"");
		add_time(&t, "at_s", e->edge_ms);
		add(&t, "}");
		break;
	case PW_E_FAULT:
		add(&t, "{\"kind\":\"fault\",\"name\":\"%s\",\"on\":%s", pw_fault_name(e->fault),
		    e->on ? "true" : "false");
		add_time(&t, "at_s", e->at_ms);
		add(&t, "}");
		break;
	case PW_E_RUNG:
		add(&t, "{\"kind\":\"rung\",\"name\":\"%s\"", p->signal[e->rung].name);
		add_time(&t, "at_s", e->at_ms);
		add(&t, "}");
		break;
	default:
		return 0;
	}
	return length(&t);
}

int pw_text_standing(const struct pw_state *s, int64_t at_ms, char *buf, size_t size)
{
	struct text t = { .buf = buf, .size = size };

	add(&t, "{\"kind\":\"standing\",\"phase\":\"%s\",\"carried\":%s", pw_phase_name(s->phase),
	    s->carried ? "true" : "false");
	add_time(&t, "at_s", at_ms);
	add(&t, "}");
	return length(&t);
}
