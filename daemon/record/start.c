/* SPDX-License-Identifier: Apache-2.0 */
/* What a start finds: the state that was kept, when it was last alive, and the last sweeps. */
#include "writer_internal.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static void take_sweep(void *ctx, const char *body, int64_t wall_ms)
{
	struct pw_kept_state *out = ctx;
	struct pw_recent *r = &out->recent[out->recent_count];
	char rung[PW_NAME_MAX];
	struct pw_sweep s;

	if (pw_text_sweep(body, &s, rung) < 0)
		return;
	*r = (struct pw_recent){
		.wall_ms = wall_ms,
		.t0_ago_ms = s.closed_ms - s.t0_ms,
		.walk_ms = s.press_ms == PW_NO_TIME ? PW_NO_TIME : s.press_ms - s.t0_ms,
		.late_ms = s.late_ms,
		.findings = s.findings,
		.verdict = s.verdict,
	};
	out->recent_count++;
}

static void take_policy(void *ctx, const char *body, int64_t wall_ms)
{
	struct pw_kept_state *out = ctx;
	json_t *read = json_loads(body, JSON_REJECT_DUPLICATES, NULL);
	const char *hash = json_string_value(json_object_get(read, "hash"));

	(void)wall_ms;
	if (hash != NULL && pw_hex_text(hash, 64))
		strcpy(out->policy_hash, hash);
	json_decref(read);
}

static void take_told(void *ctx, enum pw_kind kind, const char *body, int64_t wall_ms)
{
	struct pw_kept_state *out = ctx;
	struct pw_note n;

	if (pw_text_told(kind, body, wall_ms, &n) == 0)
		pw_day_take(&out->day, &n);
}

/* The later of the stamp and the last commit. A stamp of another start tells nothing (J12). */
static void last_alive(const char *dir, const struct pw_kept_row *row, struct pw_kept_state *out)
{
	struct pw_stamp stamp;
	int fd = pw_stamp_open(dir, false);

	out->mono_ms = row->mono_ms;
	out->wall_ms = row->wall_ms;
	if (fd < 0)
		return;
	if (pw_stamp_read(fd, &stamp) == 0 && stamp.boot == row->boot
	    && strcmp(stamp.boot_id, row->boot_id) == 0 && stamp.mono_ms > row->mono_ms) {
		out->mono_ms = stamp.mono_ms;
		out->wall_ms = stamp.wall_ms;
	}
	close(fd);
}

/* Without a kept state that holds, the last record says which start that was, and when. */
static void row_from_head(struct pw_journal *j, struct pw_kept_row *row)
{
	struct pw_record r;
	char why[PW_WORDS_MAX];

	memset(row, 0, sizeof(*row));
	if (pw_journal_head(j, NULL) == 0
	    || pw_journal_read(j, pw_journal_head(j, NULL), &r, why, sizeof(why)) != 1)
		return;
	row->boot = r.boot;
	row->mono_ms = r.mono_ms;
	row->wall_ms = r.wall_ms;
	pw_journal_rest(j);
}

/* What is shown of the past. Where it is damaged the judgement will say so: the alarm goes on without. */
static int find_past(struct pw_journal *j, struct pw_kept_state *out, char *why, size_t size)
{
	int result = pw_journal_newest(j, PW_K_SWEEP, PW_RECENT_MAX, take_sweep, out, why, size);

	if (result != -1)
		result = pw_journal_newest(j, PW_K_POLICY, 1, take_policy, out, why, size);
	if (result != -1)
		result = pw_journal_told(j, take_told, out, why, size);
	return result == -1 ? -1 : 0;
}

int pw_start_find(struct pw_journal *j, const char *dir, const struct pw_public_key *key, uint64_t boot,
		  struct pw_kept_state *out, struct pw_kept_row *row, char *why, size_t size)
{
	int found = pw_journal_kept(j, row, why, size);
	bool holds = found == 1
		     && pw_kept_holds(pw_journal_bus(j), pw_journal_epoch(j), row, key);

	memset(out, 0, sizeof(*out));
	if (found < 0 || find_past(j, out, why, size) < 0)
		return found < 0 ? found : -1;
	why[0] = '\0';
	if (!holds)
		row_from_head(j, row);
	out->boot = boot != 0 ? boot : row->boot + 1;
	out->found = holds && pw_text_kept_read(row->state, &out->state) == 0;
	if (found == 1 && !out->found)
		snprintf(why, size, "%s/journal.db: the kept state cannot be read", dir);
	out->ended = row->ended;
	memcpy(out->boot_id, row->boot_id, sizeof(out->boot_id));
	last_alive(dir, row, out);
	return 0;
}
