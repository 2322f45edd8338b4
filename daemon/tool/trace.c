/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A journal's lines as a trace (J9). Each start of the watch has a clock of its own; the trace has
 * one axis, that of its first start. A later start is moved so that the power cut before it stands
 * where it stood on the axis so far.
 *
 * A trace is told under one policy and from nothing kept. So it covers the last stretch of starts
 * for which both hold.
 */
#include <errno.h>
#include <getopt.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "source_internal.h"
#include "trace_internal.h"

/* -- errors ------------------------------------------------------------------------------------ */

int pw_trace_bad(const struct pw_telling *t, const char *expected)
{
	fprintf(stderr, "%s: seq %" PRIu64 ": expected %s\n", t->path, t->r.seq, expected);
	return -1;
}

void pw_trace_warn(const char *format, ...)
{
	va_list args;

	fputs("postwalk trace: ", stderr);
	va_start(args, format);
	vfprintf(stderr, format, args);
	va_end(args);
	fputc('\n', stderr);
}

int pw_trace_record(struct pw_telling *t, struct pw_journal *j, uint64_t last)
{
	char why[300];
	int got = t->r.seq >= last ? 0 : pw_journal_read(j, t->r.seq + 1, &t->r, why, sizeof(why));

	json_decref(t->body);
	t->body = NULL;
	if (got == 0 || (got == 1 && t->r.seq > last))
		return 0;
	if (got < 0) {
		fprintf(stderr, "%s\n", why);
		return -1;
	}
	t->body = json_loads(t->r.body, JSON_REJECT_DUPLICATES, NULL);
	if (!json_is_object(t->body) || t->r.mono_ms < 0 || t->r.mono_ms > PW_FAR_MS)
		return pw_trace_bad(t, "a JSON object as its body, at a time from 0 on");
	return 1;
}

/* -- the stretch ------------------------------------------------------------------------------- */

static int survey_policy(struct pw_telling *t, struct pw_stretch *s, bool starting)
{
	const char *text = pw_body_word(t->body, "text");

	free(s->policy);
	s->policy = strdup(text);
	if (!s->policy || text[0] == '\0')
		return pw_trace_bad(t, "the text of a policy");
	s->policy_waits = !starting;
	if (starting)
		s->first = t->start;
	return 0;
}

static void survey_boot(struct pw_telling *t, struct pw_stretch *s)
{
	t->start = t->r.seq;
	if (s->oldest == 0)
		s->oldest = t->start;
	if (strcmp(pw_body_word(t->body, "clock"), "first") == 0)
		s->fresh = t->start;
	if (s->policy_waits)
		s->first = t->start;
	s->policy_waits = false;
}

static int survey_all(struct pw_telling *t, struct pw_journal *j, struct pw_stretch *s)
{
	bool starting = false; /* between a boot record and its levels */
	int got;

	while ((got = pw_trace_record(t, j, INT64_MAX)) == 1) {
		s->last = t->r.seq;
		if (t->r.kind == PW_K_BOOT)
			survey_boot(t, s);
		if (t->r.kind == PW_K_POLICY && survey_policy(t, s, starting))
			return -1;
		if (t->r.kind == PW_K_BOOT || t->r.kind == PW_K_LEVEL)
			starting = t->r.kind == PW_K_BOOT;
	}
	return got;
}

static int survey(struct pw_telling *t, struct pw_journal *j, struct pw_stretch *s)
{
	if (survey_all(t, j, s))
		return PW_EXIT_BAD;
	if (s->oldest == 0 || !s->policy) {
		fprintf(stderr, "%s: expected a start and its policy, as postwalkd records them\n",
			t->path);
		return PW_EXIT_BAD;
	}
	if (s->policy_waits) {
		pw_trace_warn("%s: the newest policy has no start of its own yet: restart "
			      "postwalkd, then ask again", t->path);
		return PW_EXIT_NOT;
	}
	if (s->fresh > s->first)
		s->first = s->fresh;
	return PW_EXIT_OK;
}

static void tell_stretch(const struct pw_stretch *s)
{
	if (s->first == s->oldest && s->first == s->fresh)
		return;
	if (s->first == s->fresh)
		pw_trace_warn("from seq %" PRIu64 " on: nothing was kept from before", s->first);
	else if (s->first == s->oldest)
		pw_trace_warn("from seq %" PRIu64 " on: what was kept there came from an older journal, or "
			      "from records since pruned; a sweep carried over from before is not in it",
			      s->first);
	else
		pw_trace_warn("from seq %" PRIu64 " on: the policy changed there; a sweep carried "
			      "over from before is not in it", s->first);
}

static int load_policy(struct pw_telling *t, const char *text)
{
	char why[400];

	if (pw_policy_read(text, &t->policy, why, sizeof(why)) == 0)
		return 0;
	fprintf(stderr, "%s: its policy: %s\n", t->path, why);
	return -1;
}

/* Whole or not at all: told into memory first. */
static int print(struct pw_telling *t, struct pw_journal *j, const struct pw_stretch *s,
		 enum pw_told what)
{
	char *text = NULL;
	size_t size = 0;
	int result;

	if (load_policy(t, s->policy))
		return PW_EXIT_BAD;
	tell_stretch(s);
	t->out = open_memstream(&text, &size);
	if (!t->out) {
		fprintf(stderr, "%s: no memory: %s\n", t->path, strerror(errno));
		return PW_EXIT_BAD;
	}
	result = pw_trace_tell(t, j, s, what);
	if (fclose(t->out) != 0 && result == 0) {
		fprintf(stderr, "%s: no memory for its trace\n", t->path);
		result = -1;
	}
	if (result == 0)
		fwrite(text, 1, size, stdout);
	free(text);
	return result ? PW_EXIT_BAD : PW_EXIT_OK;
}

static int run(struct pw_telling *t, char mode)
{
	struct pw_stretch s = { 0 };
	struct pw_journal *j;
	char why[300];
	int status;

	if (pw_journal_open(t->path, NULL, false, &j, why, sizeof(why))) {
		fprintf(stderr, "%s\n", why);
		return PW_EXIT_BAD;
	}
	status = survey(t, j, &s);
	if (status == PW_EXIT_OK && mode == 'p')
		fputs(s.policy, stdout);
	else if (status == PW_EXIT_OK)
		status = print(t, j, &s, mode == 'r' ? PW_TOLD_RECORDS : PW_TOLD_LINES);
	json_decref(t->body);
	free(t->item);
	free(s.policy);
	pw_journal_close(j);
	return status;
}

static int usage(void)
{
	fputs("usage: postwalk trace [--policy | --records] JOURNAL\n"
	      "  JOURNAL    journal.db, or the state folder that it stands in\n"
	      "  --policy   the policy that the trace was judged by\n"
	      "  --records  what was recorded of it, as postwalk replay prints it\n", stderr);
	return PW_EXIT_BAD;
}

int pw_trace(int argc, char **argv)
{
	static const struct option options[] = {
		{ "policy", no_argument, NULL, 'p' },
		{ "records", no_argument, NULL, 'r' },
		{ 0 },
	};
	struct pw_telling t = { 0 };
	char path[PW_PATH_MAX], mode = '\0';
	int c, status;

	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		if (c == '?' || mode)
			return usage();
		mode = (char)c;
	}
	if (optind != argc - 1)
		return usage();
	if (pw_source_path(argv[optind], path))
		return PW_EXIT_BAD;
	t.path = path;
	status = run(&t, mode);
	if (fflush(stdout) || ferror(stdout)) {
		fputs("postwalk trace: standard output cannot be written\n", stderr);
		return PW_EXIT_BAD;
	}
	return status;
}
