/* SPDX-License-Identifier: Apache-2.0 */
/*
 * bus_internal.h - what the files of postwalkd share.
 *
 * One loop, one clock read a wake-up (b->now_ms, CLOCK_BOOTTIME). Edges go from the board to the
 * rules; what the rules say goes to the player, the writer and the page, always as copies.
 */
#ifndef POSTWALK_BUS_INTERNAL_H
#define POSTWALK_BUS_INTERNAL_H

#include "postwalk/board.h"
#include "postwalk/page.h"
#include "postwalk/record.h"
#include "people_internal.h"

#define PW_VERSION "0.1"

/* What the command line asks. */
struct pw_options {
	const char *config, *board, *bench, *state; /* bench: socket path, NULL: in the state folder */
	bool check, print;
};

struct pw_loaded_policy {
	struct pw_policy policy;
	char text[PW_POLICY_TEXT_MAX], hash[65];
};

/* Raw edges of one line since its last record (J8). */
struct pw_pending {
	uint16_t count;
	uint8_t from;
	int64_t at_ms[PW_EDGES_MAX];
};

/* Where the two clocks stood, to see a step of the wall clock. */
struct pw_clocks {
	int64_t boot_ms, wall_ms;
	int64_t believed_ms; /* the wall clock is not believed before this */
};

struct pw_standing_fault {
	char name[PW_NAME_MAX + 8];
	char words[160];
};
#define PW_FAULTS_MAX (PW_LINES * 3 + 4)

struct pw_bus {
	const struct pw_options *options;
	struct pw_loaded_policy active, next;
	bool next_waits; /* until the next key-off */

	struct pw_state state;
	struct pw_sink sink;
	int64_t judged_ms; /* the rules have run up to and with this */
	bool keep;         /* something happened that is worth keeping */
	struct pw_pending pending[PW_INPUTS];
	int64_t refused_ms; /* the last refusal */
	enum pw_why refused_why;
	int64_t changed_ms[PW_LINES]; /* PW_NO_TIME: not seen to change */

	bool service; /* as journaled */
	int64_t t0_ms; /* of the last sweep that closed, or PW_NO_TIME */
	enum pw_signal notified; /* journaled as it was told to the office; NONE once it sounds */

	struct pw_day day;
	struct pw_proving proving;
	struct pw_trial trial;
	struct pw_session session;
	struct pw_gate gate;
	struct pw_tries tries;
	struct pw_budget budget, child_budget; /* a child is told whatever else was */
	struct pw_wires wires;

	struct pw_board *board;
	struct pw_player player;
	struct pw_supervise supervise;
	uint32_t outputs;

	struct pw_writer *writer;
	struct pw_page *page;
	uint32_t recent_count;
	struct pw_recent recent[PW_RECENT_MAX];

	struct pw_standing_fault fault[PW_FAULTS_MAX];
	uint32_t faults;
	int64_t delivery_ms; /* since when delivery is not as its fault says; 0: it is */

	struct pw_clocks clocks;
	int64_t now_ms, wall_ms;
	int epoll, timer, signals, wall_timer, lock;
	int writer_fd, page_fd; /* as the epoll set has them */
	bool writer_out;
	int64_t armed_ms;
	int64_t watchdog_ms, watchdog_next_ms;
	bool stop;
};

/* clock.c */
int64_t pw_boot_now_ms(void);
int64_t pw_wall_now_ms(void);
int64_t pw_built_ms(void);
void pw_boot_id(char id[40]);
bool pw_wall_ok(const struct pw_bus *b);
void pw_clock_tick(struct pw_bus *b); /* the one read of a wake-up */
int pw_clock_watch(void);             /* an fd, readable when the wall clock was set; -1 */
void pw_clock_look(struct pw_bus *b); /* a step of the wall clock is recorded, before what comes after it */

/* log.c: 0..7 as syslog has them; one line on standard error */
__attribute__((format(printf, 2, 3)))
void pw_log(int level, const char *format, ...);
#define pw_err(...) pw_log(3, __VA_ARGS__)
#define pw_warn(...) pw_log(4, __VA_ARGS__)
#define pw_info(...) pw_log(6, __VA_ARGS__)

/* feed.c: from edges to the rules */
void pw_feed(struct pw_bus *b);        /* what the board has, then timers up to now */
void pw_feed_service(struct pw_bus *b, bool on); /* R23 */
void pw_feed_service_end(struct pw_bus *b); /* one that ended by itself is journaled as well */
void pw_feed_flush(struct pw_bus *b);  /* edges become records, the state is kept */

/* effects.c: from the rules to signals and records */
void pw_effect_take(void *bus, const struct pw_effect *e);

/* restart.c: R20 and R21 from what was kept */
void pw_restart(struct pw_bus *b, const struct pw_kept_state *kept);

/* notes.c: records to be */
struct pw_note pw_note_new(const struct pw_bus *b, enum pw_kind kind);
void pw_note_fault(struct pw_bus *b, const char *name, bool on, const char *words, int64_t at_ms);
void pw_note_policy(struct pw_bus *b);

/* faults.c: what stands, told once when it comes and once when it goes */
/* words NULL: gone. at_ms: when it came or went, as far as is known. */
void pw_fault_set(struct pw_bus *b, const char *name, const char *words, int64_t at_ms);
void pw_faults_look(struct pw_bus *b);
int64_t pw_faults_next_ms(const struct pw_bus *b); /* PW_NEVER: nothing passes by itself */

/* signals.c: outputs follow */
void pw_signals_drive(struct pw_bus *b);
int64_t pw_signals_next_ms(const struct pw_bus *b);

/* show.c */
void pw_show(struct pw_bus *b);
void pw_show_wires(struct pw_bus *b, uint32_t serial);

/* reload.c */
void pw_reload(struct pw_bus *b);
void pw_reload_take(struct pw_bus *b); /* a key-off: the waiting policy is laid */

/* service.c: the service manager, by its socket */
void pw_manager_tell(const char *text);
void pw_manager_begin(struct pw_bus *b);
void pw_manager_beat(struct pw_bus *b);

/* lock.c: 0; 1: another runs there (pid told); -1: the folder cannot be had (errno) */
int pw_lock(const char *state_dir, int *lock, long *pid);

/* loop.c */
int pw_loop_open(struct pw_bus *b);
void pw_loop_run(struct pw_bus *b);
void pw_loop_close(struct pw_bus *b);

#endif
