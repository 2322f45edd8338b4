/* SPDX-License-Identifier: Apache-2.0 */
/*
 * From one boot to the next. The rules live on one axis of time; each boot has a clock of its own.
 * What was kept is moved onto this boot's clock so that the gap between the two is as long as the
 * wall clock says (or, within one boot of the kernel, as long as it was), and then the power comes
 * back in the sense of R20.
 */
#include <fcntl.h>
#include <linux/watchdog.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bus_internal.h"

struct gap {
	enum pw_clock clock;
	int64_t old_cut_ms; /* on the clock of the boot that was */
	int64_t cut_ms;     /* on this one */
};

static bool same_boot(const struct pw_kept_state *kept)
{
	char id[40];

	pw_boot_id(id);
	return id[0] != '\0' && strcmp(id, kept->boot_id) == 0;
}

/* R21: the wall clock vouches when it was not before the build, then and now, and did not go
 * back. */
static bool vouched(const struct pw_bus *b, const struct pw_kept_state *kept)
{
	return kept->wall_ms >= pw_built_ms() && b->wall_ms >= pw_built_ms() &&
	       b->wall_ms >= kept->wall_ms;
}

/* Power went right after the last moment known to be alive. */
static struct gap judge_gap(const struct pw_bus *b, const struct pw_kept_state *kept)
{
	struct gap g = { .clock = PW_CLOCK_LOST, .old_cut_ms = kept->mono_ms + 1,
			 .cut_ms = b->now_ms };

	if (same_boot(kept) && g.old_cut_ms <= b->now_ms) {
		g.clock = PW_CLOCK_SAME_BOOT;
		g.cut_ms = g.old_cut_ms;
	} else if (vouched(b, kept)) {
		g.clock = PW_CLOCK_VOUCHED;
		g.cut_ms = b->now_ms - (b->wall_ms - kept->wall_ms);
		if (g.cut_ms < b->now_ms)
			g.cut_ms++;
	}
	return g;
}

static uint8_t input_levels(const struct pw_bus *b)
{
	return (uint8_t)pw_board_levels(b->board);
}

/* The watchdog's own word for its last deed, as the kernel hands it on (WDIOF_CARDRESET). */
static bool watchdog_did(void)
{
	int fd = open("/sys/class/watchdog/watchdog0/bootstatus", O_RDONLY | O_CLOEXEC);
	char text[16] = "";

	if (fd < 0)
		return false;
	if (read(fd, text, sizeof(text) - 1) < 0)
		text[0] = '\0';
	close(fd);
	return strtol(text, NULL, 10) & WDIOF_CARDRESET;
}

static enum pw_reset judge_reset(const struct pw_kept_state *kept)
{
	if (!kept->found)
		return PW_RESET_FIRST;
	if (kept->ended)
		return PW_RESET_ORDERLY;
	if (same_boot(kept))
		return PW_RESET_PROCESS;
	return watchdog_did() ? PW_RESET_WATCHDOG : PW_RESET_POWER;
}

static void note_start(struct pw_bus *b, const struct pw_kept_state *kept, const struct gap *g)
{
	struct pw_note n = pw_note_new(b, PW_K_BOOT);

	n.of.boot.clock = g->clock;
	n.of.boot.reset = judge_reset(kept);
	memcpy(n.of.boot.policy, b->active.hash, sizeof(n.of.boot.policy));
	n.of.boot.cut_ms = g->clock == PW_CLOCK_FIRST ? PW_NO_TIME : g->cut_ms;
	n.of.boot.old_cut_ms = g->clock == PW_CLOCK_FIRST ? PW_NO_TIME : g->old_cut_ms;
	snprintf(n.of.boot.version, sizeof(n.of.boot.version), "%s", PW_VERSION);
	pw_writer_note(b->writer, &n);
}

static void note_levels(struct pw_bus *b)
{
	struct pw_note n = pw_note_new(b, PW_K_LEVEL);

	n.of.level.levels = input_levels(b);
	pw_writer_note(b->writer, &n);
}

static void step(struct pw_bus *b, struct pw_event ev)
{
	pw_step(&b->state, &b->active.policy, &ev, &b->sink);
}

static void resume(struct pw_bus *b, const struct pw_kept_state *kept, const struct gap *g)
{
	b->state = kept->state;
	pw_shift(&b->state, g->cut_ms - g->old_cut_ms);
	step(b, (struct pw_event){ .kind = PW_POWER_CUT, .at_ms = g->cut_ms });
	step(b, (struct pw_event){ .kind = PW_POWER_ON, .at_ms = b->now_ms,
				   .levels = input_levels(b),
				   .clock_lost = g->clock == PW_CLOCK_LOST });
}

void pw_restart(struct pw_bus *b, const struct pw_kept_state *kept)
{
	struct gap g = { .clock = PW_CLOCK_FIRST };

	if (kept->found)
		g = judge_gap(b, kept);
	b->judged_ms = b->now_ms;
	b->day = kept->day;
	b->t0_ms = PW_NO_TIME;
	b->clocks = (struct pw_clocks){ .boot_ms = b->now_ms, .wall_ms = b->wall_ms,
					.believed_ms = pw_built_ms() };
	if (kept->found && kept->wall_ms > b->clocks.believed_ms)
		b->clocks.believed_ms = kept->wall_ms;
	note_start(b, kept, &g);
	if (strcmp(kept->policy_hash, b->active.hash) != 0)
		pw_note_policy(b);
	note_levels(b);
	if (kept->found)
		resume(b, kept, &g);
	else
		step(b, (struct pw_event){ .kind = PW_POWER_ON_FIRST, .at_ms = b->now_ms,
					   .levels = input_levels(b) });
	if (input_levels(b) >> PW_IGNITION & 1)
		pw_player_check(&b->player, b->now_ms);
	pw_proofs_begin(b);
	pw_wires_begin(&b->wires, &b->active.policy, pw_board_levels(b->board), b->now_ms);
	b->keep = true;
	b->judged_ms = b->now_ms - 1;
}
