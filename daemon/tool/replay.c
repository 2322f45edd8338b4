/* SPDX-License-Identifier: Apache-2.0 */
/* The rules over recorded lines: traces in, JSON Lines out. */
#include <getopt.h>
#include <stdio.h>
#include <string.h>

#include "postwalk/record.h"
#include "tool_internal.h"

struct replay {
	const struct pw_policy *policy;
	bool rungs;
	struct pw_state state;
	uint8_t raw; /* levels, kept while power is off as well */
	struct pw_sink sink;
};

static void print(void *ctx, const struct pw_effect *e)
{
	struct replay *r = ctx;
	char text[PW_BODY_MAX];

	if (e->kind == PW_E_RUNG && !r->rungs)
		return;
	if (pw_text_effect(e, r->policy, text, sizeof(text)) > 0)
		puts(text);
}

static void step(struct replay *r, enum pw_event_kind kind, const struct pw_trace_line *l)
{
	const struct pw_event ev = { .kind = kind, .at_ms = l->at_ms, .mask = l->mask,
				     .levels = r->raw, .clock_lost = l->clock_lost };

	pw_step(&r->state, r->policy, &ev, &r->sink);
}

static void take_line(struct replay *r, const struct pw_trace_line *l, bool first)
{
	if (first && r->policy->line[PW_REAR_BUTTON_NC].configured)
		r->raw = 1u << PW_REAR_BUTTON_NC;
	r->raw = (uint8_t)((r->raw & ~l->mask) | l->levels);
	if (first)
		step(r, PW_POWER_ON_FIRST, l);
	if (l->power == PW_ON)
		step(r, PW_POWER_ON, l);
	if (l->power == PW_CUT)
		step(r, PW_POWER_CUT, l);
	if (l->service >= 0 && r->state.powered)
		step(r, l->service ? PW_SERVICE_ON : PW_SERVICE_OFF, l);
	if (!first && l->power == PW_POWER_SAME && r->state.powered && l->mask)
		step(r, PW_LEVELS, l);
}

static int replay_trace(struct replay *r, const char *path)
{
	struct pw_trace *t = pw_trace_open(path, r->policy);
	struct pw_trace_line l;
	bool first = true;
	int64_t last_ms = 0;
	char text[256];
	int got;

	if (!t)
		return PW_EXIT_BAD;
	r->raw = 0;
	while ((got = pw_trace_next(t, &l)) == 1) {
		last_ms = l.at_ms;
		if (l.end)
			continue;
		if (!first)
			pw_run(&r->state, r->policy, l.at_ms - 1, &r->sink);
		take_line(r, &l, first);
		first = false;
	}
	if (got == 0 && first) {
		fprintf(stderr, "%s:1: expected levels at power-on\n", path);
		got = -1;
	}
	if (got == 0) {
		pw_run(&r->state, r->policy, last_ms, &r->sink);
		pw_text_standing(&r->state, last_ms, text, sizeof(text));
		puts(text);
	}
	pw_trace_close(t);
	return got < 0 ? PW_EXIT_BAD : PW_EXIT_OK;
}

static int usage(void)
{
	fputs("usage: postwalk replay [--config FILE] [--rungs] TRACE...\n", stderr);
	return PW_EXIT_BAD;
}

int pw_replay(int argc, char **argv)
{
	static const struct option options[] = {
		{ "config", required_argument, NULL, 'c' },
		{ "rungs", no_argument, NULL, 'r' },
		{ 0 },
	};
	struct pw_policy policy;
	struct replay r = { .policy = &policy };
	const char *config = NULL;
	char why[400];
	int c, status = PW_EXIT_OK;

	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c == 'c')
			config = optarg;
		else if (c == 'r')
			r.rungs = true;
		else
			return usage();
	}
	if (optind == argc)
		return usage();
	pw_policy_init(&policy, true);
	if (config && pw_policy_load(config, false, &policy, NULL, NULL, why, sizeof(why))) {
		fprintf(stderr, "%s\n", why);
		return PW_EXIT_BAD;
	}
	r.sink = (struct pw_sink){ print, &r };
	for (int i = optind; i < argc && status == PW_EXIT_OK; i++)
		status = replay_trace(&r, argv[i]);
	if (fflush(stdout) || ferror(stdout)) {
		fputs("postwalk replay: standard output cannot be written\n", stderr);
		return PW_EXIT_BAD;
	}
	return status;
}
