/* SPDX-License-Identifier: Apache-2.0 */
/* bus_stage.h - the watch without its loop, on a board without wires and with a clock set by hand;
 * the writer and its journal are the real ones. */
#ifndef TEST_BUS_STAGE_H
#define TEST_BUS_STAGE_H

#include <sys/wait.h>

#include "record_help.h"

#include "../../daemon/board/board_internal.h"
#include "../../daemon/bus/bus_internal.h"

#define STAGE_WALL_MS INT64_C(1900000000000) /* of second 0: after any build of today */

static const char stage_policy[] =
	"[bus]\nid = bus-7\n[yard]\ncall = The shop, 555-0100.\n[sweep]\ndue_s = 60\nrestart_s = 1\n"
	"[line ignition]\n[line park_brake]\n[line rear_button]\n[line rear_button_nc]\n"
	"[line rear_door]\n[line service_door]\n[line lamps]\n[line beeper]\n[line horn]\n"
	"sense = horn_sense\n[line lamp]\n[line dome]\n[line horn_sense]\ndirection = in\n"
	"[rung cabin]\nafter_s = 0\noutputs = beeper lamp\npattern = 250 150\n"
	"[rung office]\nafter_s = 60\noutputs = beeper horn lamp\npattern = 400 150\nnotify = yes\n";

struct stage {
	struct folder f;
	struct pw_options options;
	struct pw_bus bus;
	struct pw_done_act done; /* the last answer */
};

/* -- a board without wires --------------------------------------------------------------------- */

static inline int still_open(struct pw_board *b, const char *place, int64_t at_ms, char *why,
			     size_t size)
{
	(void)b, (void)place, (void)at_ms, (void)why, (void)size;
	return 0;
}

static inline void still_read(struct pw_board *b, int64_t at_ms)
{
	(void)b, (void)at_ms;
}

static inline void still_drive(struct pw_board *b, uint32_t outputs, int64_t at_ms)
{
	(void)b, (void)outputs, (void)at_ms;
}

static inline void still_close(struct pw_board *b)
{
	(void)b;
}

static const struct pw_board_kind still = {
	.name = "still", .size = sizeof(struct pw_board), .open = still_open, .read = still_read,
	.drive = still_drive, .close = still_close,
};

/* -- time -------------------------------------------------------------------------------------- */

static inline void stage_tick(struct stage *s, int64_t at_ms)
{
	s->bus.now_ms = at_ms;
	s->bus.wall_ms = STAGE_WALL_MS + at_ms;
}

/* One wake-up, as the loop has it. */
static inline void stage_wake(struct stage *s, int64_t at_ms)
{
	stage_tick(s, at_ms);
	pw_feed(&s->bus);
	pw_feed_service_end(&s->bus);
	pw_signals_drive(&s->bus);
	pw_tries_tell(&s->bus);
	pw_feed_flush(&s->bus);
	pw_writer_tend(s->bus.writer, at_ms);
}

/* Wakes whenever the loop would. */
static inline void stage_until(struct stage *s, int64_t at_ms)
{
	struct pw_bus *b = &s->bus;

	for (;;) {
		int64_t next_ms = pw_next_ms(&b->state, &b->active.policy);
		int64_t signals_ms = pw_signals_next_ms(b), tries_ms = pw_tries_next_ms(b);

		next_ms = signals_ms < next_ms ? signals_ms : next_ms;
		next_ms = tries_ms < next_ms ? tries_ms : next_ms;
		if (next_ms <= b->now_ms)
			next_ms = b->now_ms + 1;
		if (next_ms > at_ms)
			break;
		stage_wake(s, next_ms);
	}
	if (b->now_ms < at_ms)
		stage_wake(s, at_ms);
}

/* The line comes to that level at that moment. */
static inline void stage_level(struct stage *s, unsigned line, unsigned level, int64_t at_ms)
{
	stage_until(s, at_ms - 1);
	pw_board_note(s->bus.board, line, level, at_ms, at_ms);
	stage_wake(s, at_ms);
}

/* -- life -------------------------------------------------------------------------------------- */

/* A bus that stands, its key off, its button well. */
static inline void stage_start(struct stage *s, int64_t at_ms)
{
	struct pw_bus *b = &s->bus;
	struct pw_kept_state kept;
	char why[400];

	memset(b, 0, sizeof(*b));
	s->options = (struct pw_options){ .board = "still", .state = s->f.path };
	b->options = &s->options;
	if (pw_policy_load(in(&s->f, "conf"), true, &b->active.policy, b->active.hash,
			   b->active.text, why, sizeof(why)) < 0)
		fail_msg("%s", why);
	b->sink = (struct pw_sink){ pw_effect_take, b };
	b->wall_timer = -1;
	pw_player_init(&b->player);
	pw_supervise_init(&b->supervise);
	stage_tick(s, at_ms);
	assert_int_equal(pw_writer_start(s->f.path, BUS, 0, &b->writer), 0);
	assert_int_equal(pw_board_open_kind(&still, NULL, &b->active.policy, at_ms, &b->board, why,
					    sizeof(why)), 0);
	b->board->levels = 1u << PW_REAR_BUTTON_NC;
	assert_int_equal(pw_writer_kept(b->writer, 20000, &kept), 0);
	pw_restart(b, &kept);
	stage_wake(s, at_ms);
}

static inline void stage_stop(struct stage *s)
{
	pw_gate_stop(&s->bus);
	pw_tries_tell_all(&s->bus);
	s->bus.keep = true;
	pw_feed_flush(&s->bus);
	pw_writer_stop(s->bus.writer, 20000);
	pw_board_close(s->bus.board);
	s->bus.writer = NULL;
}

static inline int stage_setup(void **state)
{
	struct stage *s = calloc(1, sizeof(*s));

	assert_non_null(s);
	assert_true(sodium_init() >= 0);
	folder_make(&s->f);
	write_file(in(&s->f, "conf"), stage_policy);
	stage_start(s, 1000);
	*state = s;
	return 0;
}

static inline int stage_teardown(void **state)
{
	struct stage *s = *state;

	if (s->bus.writer)
		stage_stop(s);
	folder_remove(&s->f);
	free(s);
	return 0;
}

/* What the journal holds of that kind, one body after the other; the watch is stopped first. */
static inline const char *stage_told(struct stage *s, const char *kind)
{
	static char answer[8192];

	if (s->bus.writer)
		stage_stop(s);
	ask(answer, sizeof(answer), "sqlite3 '%s' \"SELECT group_concat(body, ' ') FROM (SELECT body "
	    "FROM record WHERE kind = '%s' ORDER BY seq)\"", in(&s->f, "journal.db"), kind);
	return answer;
}

/* -- acts -------------------------------------------------------------------------------------- */

/* The answer; 0: later. */
static inline enum pw_answer stage_act(struct stage *s, struct pw_act a)
{
	return pw_act_take(&s->bus, &a, 1, &s->done) ? s->done.answer : 0;
}

/* The same by whoever has the session now. */
static inline enum pw_answer stage_act_in(struct stage *s, struct pw_act a)
{
	memcpy(a.session, s->bus.session.id, sizeof(a.session));
	return stage_act(s, a);
}

/* To each phase in turn, from a fresh start. */
static inline void stage_phase(struct stage *s, enum pw_phase phase)
{
	const int64_t t_ms = s->bus.now_ms;

	if (phase >= PW_DRIVING)
		stage_level(s, PW_IGNITION, 1, t_ms + 1000);
	if (phase >= PW_OWED)
		stage_level(s, PW_IGNITION, 0, t_ms + 20000);
	stage_until(s, t_ms + 21000);
	if (phase >= PW_OVERDUE)
		stage_until(s, t_ms + 81000);
	if (phase == PW_WALK_BACK) {
		stage_level(s, PW_REAR_BUTTON, 1, t_ms + 82000);
		stage_level(s, PW_REAR_BUTTON_NC, 0, t_ms + 82001);
		stage_level(s, PW_REAR_BUTTON_NC, 1, t_ms + 82600);
		stage_level(s, PW_REAR_BUTTON, 0, t_ms + 82601);
		stage_until(s, t_ms + 83000);
	}
	assert_int_equal(s->bus.state.phase, phase);
}

#endif
