/* SPDX-License-Identifier: Apache-2.0 */
#include "judge.h"

#include <inttypes.h>
#include <poll.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "whole.h"

#define PATIENCE_MS 20000
#define LINES_AFTER 12

__attribute__((format(printf, 2, 3)))
static void unsound(struct judge_verdict *v, const char *format, ...)
{
	size_t n = strlen(v->words);
	va_list args;

	v->unsound = true;
	if (n > 0 && n + 3 < sizeof(v->words))
		n += (size_t)snprintf(v->words + n, sizeof(v->words) - n, "; ");
	va_start(args, format);
	vsnprintf(v->words + n, sizeof(v->words) - n, format, args);
	va_end(args);
}

static int64_t boottime_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- the start --------------------------------------------------------------------------------- */

static bool is_of(const struct day *d, uint64_t n, uint64_t seq, const char *state, int64_t mono_ms)
{
	const struct day_batch *b = &d->batch[n];

	return b->seq == seq && b->state && strcmp(b->state, state) == 0 && mono_ms >= b->mono_ms;
}

/* R20: everything up to the last batch there is, nothing of a later one. */
static void judge_kept(const struct day *d, const struct judge_cut *cut, uint64_t seq,
		       const struct pw_kept_state *kept, struct judge_verdict *v)
{
	char state[PW_KEPT_MAX];
	uint64_t n = cut->told_batch;

	if (!kept->found) {
		if (cut->told_batch > 0 || seq > 0)
			unsound(v, "no state is kept, with seq %" PRIu64, seq);
		return;
	}
	if (pw_text_kept(&kept->state, state, sizeof(state)) < 0) {
		unsound(v, "the kept state is none");
		return;
	}
	while (n <= d->batches && !is_of(d, n, seq, state, kept->mono_ms))
		n++;
	if (n > d->batches)
		unsound(v, "the kept state is not that of seq %" PRIu64, seq);
	if (kept->ended ? !cut->may_have_ended : cut->has_ended)
		unsound(v, "an orderly end is %s", kept->ended ? "told, and was none" : "not told");
	if (kept->mono_ms > cut->last_ms)
		unsound(v, "it was alive at %" PRId64 ", after the cut", kept->mono_ms);
}

/* A boot, as any start writes it: whatever the writer judges at its start, it has judged then. */
static void write_more(struct pw_writer *w, const struct pw_kept_state *kept,
		       struct judge_verdict *v)
{
	const int64_t at_ms = boottime_ms();
	struct pw_note n = {
		.version = PW_NOTE_VERSION, .kind = PW_K_BOOT, .mono_ms = at_ms,
		.wall_ms = PLAY_WALL_MS, .of.boot = { .clock = PW_CLOCK_LOST,
						      .reset = PW_RESET_POWER },
	};
	struct pw_state state = { .phase = PW_PARKED, .sweep.rung = PW_SIGNAL_NONE };

	if (kept->found)
		state = kept->state;
	pw_writer_note(w, &n);
	pw_writer_keep(w, &state, at_ms, PLAY_WALL_MS);
	pw_writer_tend(w, boottime_ms());
	while (pw_writer_waiting(w) > 0 && boottime_ms() < at_ms + PATIENCE_MS) {
		struct pollfd one = { .fd = pw_writer_fd(w), .events = POLLIN };

		poll(&one, 1, 20);
		pw_writer_tend(w, boottime_ms());
	}
	if (pw_writer_waiting(w) > 0)
		unsound(v, "nothing more can be written");
	if (pw_writer_fault(w))
		unsound(v, "%s", pw_writer_fault(w));
}

static void start_writer(const char *folder, struct pw_kept_state *kept, struct judge_verdict *v)
{
	struct pw_writer *w;

	*kept = (struct pw_kept_state){ .found = false };
	if (pw_writer_start(folder, PLAY_BUS, 800, &w) < 0) {
		unsound(v, "no writer can be started");
		return;
	}
	if (pw_writer_kept(w, PATIENCE_MS, kept) < 0)
		unsound(v, "what was kept is not told: %s", pw_writer_fault(w));
	write_more(w, kept, v);
	pw_writer_stop(w, PATIENCE_MS);
}

/* -- what stands then -------------------------------------------------------------------------- */

static void judge_names(const char *folder, struct judge_verdict *v)
{
	char name[64];

	if (whole_aside(folder, name, sizeof(name)))
		unsound(v, "%s: put aside", name);
}

static void judge_file(const char *path, struct judge_verdict *v)
{
	char words[256];

	if (whole_file(path, words, sizeof(words)) < 0)
		unsound(v, "integrity_check: %s", words);
}

struct right { /* records that are those of the day; the last one is of this start */
	const struct day *day;
	uint64_t count;
};

static void take_record(void *ctx, const struct pw_record *r)
{
	struct right *right = ctx;

	right->count += r->seq == right->count + 1 && r->seq <= right->day->records &&
			strcmp(r->hash, right->day->hash[r->seq]) == 0;
}

/* How many records the cut left. */
static uint64_t judge_chain(const struct day *d, const char *folder, const struct judge_cut *cut,
			    struct judge_verdict *v)
{
	struct right right = { .day = d };
	struct whole w = { .each = take_record, .ctx = &right };

	whole_look(folder, &w);
	if (w.words[0] != '\0')
		unsound(v, "%s", w.words);
	if (w.records != right.count + 1)
		unsound(v, "%" PRIu64 " records of the day, and %" PRIu64 " in all", right.count,
			w.records);
	v->lost = right.count < cut->told_seq ? cut->told_seq - right.count : 0;
	if (v->lost > 0)
		unsound(v, "%" PRIu64 " records told as committed are lost", v->lost);
	return right.count;
}

void judge_start(const struct day *d, const char *folder, const struct judge_cut *cut,
		 struct judge_verdict *v)
{
	static struct pw_kept_state kept;
	char path[128];

	memset(v, 0, sizeof(*v));
	snprintf(path, sizeof(path), "%s/journal.db", folder);
	start_writer(folder, &kept, v);
	judge_names(folder, v);
	judge_file(path, v);
	judge_kept(d, cut, judge_chain(d, folder, cut, v), &kept, v);
}

/* -- R20 and J9 -------------------------------------------------------------------------------- */

static uint8_t levels_at(const struct day *d, int64_t at_ms)
{
	uint8_t levels = 0;

	for (size_t i = 0; i < d->lines && d->line[i].at_ms <= at_ms; i++)
		levels = (uint8_t)((levels & ~d->line[i].mask) | d->line[i].levels);
	return levels;
}

static void write_line(FILE *f, const struct play *p, const struct pw_trace_line *l)
{
	char text[256];

	day_line_text(&p->bus.active.policy, l, text, sizeof(text));
	fprintf(f, "%s\n", text);
}

/* The day up to the last moment known to be alive, a cut, and power again with all levels told. */
static void write_before(FILE *f, const struct day *d, const struct play *p, int64_t on_ms)
{
	struct pw_trace_line on = { .at_ms = on_ms, .levels = p->raw, .service = -1 };
	const int64_t alive_ms = p->kept.mono_ms;

	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (p->bus.active.policy.line[i].configured)
			on.mask |= (uint8_t)(1u << i);
	if (p->kept.found) {
		for (size_t i = 0; d->line[i].at_ms <= alive_ms && !d->line[i].end; i++)
			write_line(f, p, &d->line[i]);
		on.power = PW_ON;
		write_line(f, p, &(struct pw_trace_line){ .at_ms = alive_ms + 1, .power = PW_CUT,
							  .service = -1 });
	}
	write_line(f, p, &on);
}

/* Lines of the day after a moment, until power goes in it. */
static void play_on(const struct day *d, struct play *p, FILE *f, int64_t from_ms)
{
	struct pw_trace_line end = { .at_ms = from_ms + 1000, .service = -1, .end = true };
	unsigned played = 0;

	for (size_t i = 0; i < d->lines && played < LINES_AFTER; i++) {
		const struct pw_trace_line *l = &d->line[i];

		if (l->at_ms <= from_ms)
			continue;
		if (l->power || l->end)
			break;
		play_line(p, l);
		write_line(f, p, l);
		end.at_ms = l->at_ms + 20000;
		played++;
	}
	play_line(p, &end);
	play_until(p, end.at_ms);
	write_line(f, p, &end);
}

void judge_restart(const struct day *d, const char *base, const struct judge_cut *cut,
		   int64_t gap_ms, struct judge_verdict *v)
{
	struct play *p = play_open(base, NULL);
	const int64_t on_ms = cut->last_ms + 1 + gap_ms;
	char trace[128];
	int said;
	FILE *f;

	memset(v, 0, sizeof(*v));
	snprintf(trace, sizeof(trace), "%s/as-played.trace", base);
	f = fopen(trace, "w");
	if (!f)
		play_fail("%s cannot be written", trace);
	said = play_hush();
	p->raw = levels_at(d, on_ms);
	p->one_by_one = true;
	play_start(p, on_ms, false);
	write_before(f, d, p, on_ms);
	play_on(d, p, f, on_ms);
	if (pw_writer_fault(p->bus.writer))
		unsound(v, "%s", pw_writer_fault(p->bus.writer));
	play_stop(p);
	play_speak(said);
	fclose(f);
	judge_names(p->dir, v);
	if (play_agrees(p, p->exact ? trace : NULL))
		unsound(v, "J9 does not hold after a start %" PRId64 " ms later", gap_ms);
	if (play_verifies(p)) /* its orderly stop has sealed the tail */
		unsound(v, "postwalk verify does not find it sound (J10)");
	play_free(p);
}
