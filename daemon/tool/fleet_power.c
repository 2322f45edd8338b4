/* SPDX-License-Identifier: Apache-2.0 */
/* From one start to the next: restart.c of daemon/bus, and what the writer does at a start (J6). */
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "fleet_watch_internal.h"

#define STAMP_MS 5000

struct gap { enum pw_clock clock; int64_t old_cut_ms, cut_ms; };

void pw_fleet_watch_begin(struct pw_fleet_watch *w, const struct pw_fleet_bus *b,
			  struct pw_book *book, int64_t built_ms)
{
	*w = (struct pw_fleet_watch){ .bus = b, .book = book, .built_ms = built_ms,
				      .raw = 1u << PW_REAR_BUTTON_NC };
	if (b->policy.line[PW_PARK_BRAKE].configured)
		w->raw |= 1u << PW_PARK_BRAKE;
}

/* -- the end ----------------------------------------------------------------------------------- */

/* J12: the last stamp before the end says when it was alive. */
static void end(struct pw_fleet_watch *w, int64_t at_ms)
{
	const int64_t past_ms = at_ms - w->boot_ms - w->stamp_ms;
	const int64_t alive_ms = w->stamp_ms + past_ms / STAMP_MS * STAMP_MS;

	w->powered = false;
	if (w->stamp_ms == PW_NEVER || past_ms < 0 || alive_ms <= w->card.mono_ms)
		return;
	w->card.mono_ms = alive_ms;
	w->card.wall_ms = alive_ms + w->boot_ms + w->clock_ms;
}

void pw_fleet_watch_cut(struct pw_fleet_watch *w, int64_t at_ms)
{
	pw_fleet_watch_until(w, at_ms);
	if (w->powered)
		end(w, at_ms);
}

/* -- the start --------------------------------------------------------------------------------- */

static bool vouched(const struct pw_fleet_watch *w)
{
	return w->card.wall_ms >= w->built_ms && w->wall_ms >= w->built_ms
	       && w->wall_ms >= w->card.wall_ms;
}

static struct gap judge_gap(const struct pw_fleet_watch *w, bool same_boot)
{
	struct gap g = { .clock = PW_CLOCK_LOST,
			 .old_cut_ms = w->card.mono_ms + 1,
			 .cut_ms = w->now_ms };

	if (!w->card.found)
		return (struct gap){ PW_CLOCK_FIRST, PW_NO_TIME, PW_NO_TIME };
	if (same_boot && g.old_cut_ms <= w->now_ms) {
		g.clock = PW_CLOCK_SAME_BOOT;
		g.cut_ms = g.old_cut_ms;
	} else if (vouched(w)) {
		g.clock = PW_CLOCK_VOUCHED;
		g.cut_ms = w->now_ms - (w->wall_ms - w->card.wall_ms);
		if (g.cut_ms < w->now_ms)
			g.cut_ms++;
	}
	return g;
}

static enum pw_reset judge_reset(const struct pw_fleet_watch *w, bool same_boot)
{
	if (!w->card.found)
		return PW_RESET_FIRST;
	if (w->card.ended)
		return PW_RESET_ORDERLY;
	return same_boot ? PW_RESET_PROCESS : PW_RESET_POWER;
}

static void note_start(struct pw_fleet_watch *w, const struct gap *g, bool same_boot)
{
	struct pw_note n = pw_watch_note(w, PW_K_BOOT);

	n.of.boot.clock = g->clock;
	n.of.boot.reset = judge_reset(w, same_boot);
	n.of.boot.cut_ms = g->cut_ms;
	n.of.boot.old_cut_ms = g->old_cut_ms;
	memcpy(n.of.boot.policy, w->bus->hash, sizeof(n.of.boot.policy));
	memcpy(n.of.boot.version, "fleet", sizeof("fleet"));
	pw_watch_journal(w, &n);
}

static struct pw_note policy_note(const struct pw_fleet_watch *w)
{
	struct pw_note n = pw_watch_note(w, PW_K_POLICY);

	n.of.policy.length = (uint32_t)strlen(w->bus->text);
	memcpy(n.of.policy.text, w->bus->text, n.of.policy.length);
	return n;
}

static void note_policy(struct pw_fleet_watch *w)
{
	const struct pw_note n = policy_note(w);

	if (strcmp(w->card.policy, w->bus->hash) == 0)
		return;
	memcpy(w->card.policy, w->bus->hash, sizeof(w->card.policy));
	pw_watch_journal(w, &n);
}

static void note_levels(struct pw_fleet_watch *w)
{
	struct pw_note n = pw_watch_note(w, PW_K_LEVEL);

	n.of.level.levels = w->raw;
	pw_watch_journal(w, &n);
}

/* What the board has in its memory when it starts. */
static void forget(struct pw_fleet_watch *w)
{
	memset(w->pending, 0, sizeof(w->pending));
	memset(w->fault, 0, sizeof(w->fault));
	w->service = w->keep = w->seal_due = w->sounding = w->heard_dead = false;
	w->sounds_ms = w->stamp_ms = PW_NEVER;
	w->t0_ms = PW_NO_TIME;
	w->notified = PW_SIGNAL_NONE;
	w->judged_ms = w->now_ms;
	w->told_boot_ms = w->now_ms;
	w->told_wall_ms = w->wall_ms;
	w->believed_ms = w->built_ms;
	if (w->card.found && w->card.wall_ms > w->believed_ms)
		w->believed_ms = w->card.wall_ms;
	w->boot = w->card.boot + 1;
	w->day = w->card.day;
}

static void resume(struct pw_fleet_watch *w, const struct gap *g)
{
	w->state = w->card.state;
	pw_shift(&w->state, g->cut_ms - g->old_cut_ms);
	pw_watch_step(w, (struct pw_event){ .kind = PW_POWER_CUT, .at_ms = g->cut_ms });
	pw_watch_step(w, (struct pw_event){ .kind = PW_POWER_ON,
					    .at_ms = w->now_ms,
					    .levels = w->raw,
					    .clock_lost = g->clock == PW_CLOCK_LOST });
}

static void start(struct pw_fleet_watch *w, int64_t at_ms, bool same_boot)
{
	struct gap g;

	w->powered = true;
	w->now_ms = at_ms - w->boot_ms;
	w->wall_ms = at_ms + w->clock_ms;
	forget(w);
	g = judge_gap(w, same_boot);
	note_start(w, &g, same_boot);
	note_policy(w);
	note_levels(w);
	w->proving.rose = w->proving.fell = 0;
	w->proving.levels = w->raw;
	if (w->card.found)
		resume(w, &g);
	else
		pw_watch_step(w, (struct pw_event){ .kind = PW_POWER_ON_FIRST, .at_ms = w->now_ms,
						    .levels = w->raw });
	w->judged_ms = w->now_ms - 1;
	pw_watch_finish(w);
}

void pw_fleet_watch_power(struct pw_fleet_watch *w, int64_t at_ms, int64_t since_boot_ms)
{
	if (w->powered)
		return;
	w->boot_ms = at_ms - since_boot_ms;
	start(w, at_ms, false);
}

void pw_fleet_watch_stop(struct pw_fleet_watch *w, int64_t at_ms, bool orderly, int64_t after_ms)
{
	if (!pw_watch_wake(w, at_ms))
		return;
	w->keep = orderly; /* as it stands */
	pw_watch_finish(w);
	if (orderly) {
		pw_book_seal(w->book);
		w->card.ended = true;
	}
	end(w, at_ms);
	start(w, at_ms + after_ms, true);
}

/* -- a new epoch (J6) -------------------------------------------------------------------------- */

static char *epoch_body(const struct pw_book *old, const char *why)
{
	json_t *body = json_pack("{s:{s:s,s:I,s:s},s:s,s:s*}", "before", "epoch", old->epoch, "seq",
				 (json_int_t)old->count, "hash", pw_book_hash(old, old->count),
				 "why", why, "receipt", old->receipt[0] ? old->receipt : NULL);
	char *text;

	if (body && !old->receipt[0])
		json_object_set_new(body, "receipt", json_null());
	text = json_dumps(body, JSON_COMPACT);
	json_decref(body);
	return text;
}

/* At the time of what was last kept, and not vouched for, as the writer has it. */
static void add_at_rest(struct pw_fleet_watch *w, enum pw_kind kind, const char *body)
{
	pw_book_add(w->book, &(struct pw_record){ .boot = w->card.boot,
						  .mono_ms = w->card.mono_ms,
						  .wall_ms = w->card.wall_ms,
						  .kind = kind,
						  .body = body });
}

void pw_fleet_watch_aside(struct pw_fleet_watch *w, struct pw_book *book, const char *why)
{
	const struct pw_note policy = policy_note(w);
	char text[PW_BODY_MAX + 1], *body = epoch_body(w->book, why);

	w->book = book;
	if (!body || pw_text_body(&policy, text, sizeof(text)) < 0) {
		book->no_memory = true;
		free(body);
		return;
	}
	add_at_rest(w, PW_K_EPOCH, body);
	add_at_rest(w, PW_K_POLICY, text);
	pw_book_seal(book);
	free(body);
}

/* -- receipts ---------------------------------------------------------------------------------- */

void pw_fleet_watch_receipt(struct pw_fleet_watch *w, int64_t at_ms, const char *body)
{
	struct pw_note n;

	if (!pw_watch_wake(w, at_ms))
		return;
	n = pw_watch_note(w, PW_K_RECEIPT);
	pw_book_add(w->book, &(struct pw_record){ .boot = w->boot, .mono_ms = n.mono_ms,
						  .wall_ms = n.wall_ms, .wall_ok = n.wall_ok,
						  .kind = PW_K_RECEIPT, .body = body });
	pw_watch_finish(w);
}
