/* SPDX-License-Identifier: Apache-2.0 */
/*
 * An export from a file: of a journal that a bus has set aside, or brought by hand. It is cut at
 * seals into batches that go through the very checks of those that come by the network. All of them
 * are checked before the first is taken.
 */
#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "commands_internal.h"

#define BATCH_LEAST 262144

struct taking_in {
	struct pw_order *order;
	char path[4400];
	FILE *file;
	bool take;                 /* the second time through */
	unsigned line, begins_at;  /* of the file; of the batch under way */
	char head[1024], bus[PW_NAME_MAX];
	struct pw_public_key key;
	int key_known;
	/* The batch under way, up to its last seal, and what stands behind that. */
	char *text;
	size_t length, room, sealed;
	uint64_t records, seals, sealed_records, all_records, all_seals;
	bool ended;
	/* What came of it. */
	const struct pw_batch *batch;
	bool begins;
	struct pw_took took;
	uint64_t fresh;
	bool fork;
};

/* -- the key ----------------------------------------------------------------------------------- */

static int is_key(void *ctx, const struct pw_key_row *row)
{
	struct taking_in *t = ctx;

	if (row->accepted && strcmp(row->bus, t->bus) == 0 &&
	    memcmp(&row->key, &t->key, sizeof(t->key)) == 0)
		t->key_known = 1;
	return 0;
}

static int work_key(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct taking_in *t = ctx;
	struct pw_bus_row row;
	int result = pw_store_bus(s, t->bus, &row, why, size);

	if (result < 0)
		return result;
	t->key_known = result == 1 && row.has_key && memcmp(&row.key, &t->key, sizeof(t->key)) == 0;
	return pw_store_keys(s, false, is_key, t, why, size);
}

static int take_head(struct taking_in *t, const char *line, const struct pw_export_line *head)
{
	int status;

	if (strlen(line) + 2 > sizeof(t->head))
		return pw_order_bad(t->order, "%s:%u: expected a shorter head line", t->path,
				    t->line);
	snprintf(t->head, sizeof(t->head), "%s\n", line);
	memcpy(t->bus, head->bus, sizeof(t->bus));
	t->key = head->key;
	status = pw_order_desk(t->order, work_key, t);
	if (status || t->key_known)
		return status;
	return pw_order_bad(t->order, "%s:%u: expected a key that bus %s is or was enrolled with",
			    t->path, t->line, t->bus);
}

/* -- a batch ----------------------------------------------------------------------------------- */

static int work_take(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct taking_in *t = ctx;

	return pw_take(s, t->batch, pw_office_now_ms(), &t->took, why, size);
}

/* What the file begins with may stand behind a gap: the file has nothing before it. */
static int take_batch(struct taking_in *t, struct pw_batch *b)
{
	int status;

	t->batch = b;
	status = pw_order_desk(t->order, work_take, t);
	if (status == 0 && t->took.how == PW_TAKEN_GAP) {
		b->begins = true;
		status = pw_order_desk(t->order, work_take, t);
	}
	t->fresh += t->took.fresh;
	t->fork |= t->took.fork;
	return status;
}

static char *batch_text(const struct taking_in *t, size_t *length)
{
	const size_t head = strlen(t->head);
	char end[80], *text;
	int n = pw_export_end(t->sealed_records, t->seals, end, sizeof(end));

	*length = head + t->sealed + (size_t)n;
	text = malloc(*length);
	if (!text)
		return NULL;
	memcpy(text, t->head, head);
	memcpy(text + head, t->text, t->sealed);
	memcpy(text + head + t->sealed, end, (size_t)n);
	return text;
}

/* Of what is gathered that which is sealed; the rest stays. */
static int hand_over(struct taking_in *t)
{
	struct pw_wrong wrong = { .status = 0 };
	struct pw_batch *b;
	size_t length;
	char *text = batch_text(t, &length);
	int status = 0;

	if (!text)
		return pw_order_not(t->order, "there is no memory for it");
	if (pw_batch_read(text, length, t->bus, &t->key, false, pw_office_now_ms(), &b, &wrong))
		status = pw_order_bad(t->order, "%s:%u: %s", t->path,
				      t->begins_at + (wrong.line > 1 ? wrong.line - 2 : 0),
				      wrong.words);
	free(text);
	if (status == 0 && t->take)
		status = take_batch(t, b);
	pw_batch_free(b);
	memmove(t->text, t->text + t->sealed, t->length - t->sealed);
	t->length -= t->sealed;
	t->records -= t->sealed_records;
	t->begins_at = t->line + 1;
	t->seals = t->sealed = t->sealed_records = 0;
	return status;
}

static bool add_line(struct taking_in *t, const char *line)
{
	const size_t n = strlen(line) + 1;
	char *more;

	if (t->length + n + 1 > t->room) {
		more = realloc(t->text, (t->room + n) * 2);
		if (!more)
			return false;
		t->text = more;
		t->room = (t->room + n) * 2;
	}
	sprintf(t->text + t->length, "%s\n", line);
	t->length += n;
	return true;
}

/* -- lines ------------------------------------------------------------------------------------- */

static int take_end(struct taking_in *t, const struct pw_export_line *end)
{
	t->ended = true;
	if (end->records != t->all_records || end->seals != t->all_seals)
		return pw_order_bad(t->order,
				    "%s:%u: expected the end line to count %" PRIu64
				    " records and %" PRIu64 " seals",
				    t->path, t->line, t->all_records, t->all_seals);
	return t->sealed > 0 ? hand_over(t) : 0;
}

static int take_body(struct taking_in *t, const char *text, const struct pw_export_line *line)
{
	if (!add_line(t, text))
		return pw_order_not(t->order, "there is no memory for it");
	if (line->kind == PW_X_RECORD) {
		t->records++;
		t->all_records++;
		return 0;
	}
	t->seals++;
	t->all_seals++;
	t->sealed = t->length;
	t->sealed_records = t->records;
	return t->length >= BATCH_LEAST ? hand_over(t) : 0;
}

static int take_line(struct taking_in *t, const char *text)
{
	struct pw_export_line line;
	char why[160];
	int status;

	if (t->ended || pw_export_read(text, strlen(text), &line, why, sizeof(why)))
		return pw_order_bad(t->order, "%s:%u: %s", t->path, t->line,
				    t->ended ? "expected nothing behind the end line" : why);
	if ((line.kind == PW_X_HEAD) != (t->line == 1))
		status = pw_order_bad(t->order, "%s:%u: expected the head line first, and once",
				      t->path, t->line);
	else if (line.kind == PW_X_HEAD)
		status = take_head(t, text, &line);
	else if (line.kind == PW_X_PURGED) /* as any file that has nothing before its first record */
		status = 0;
	else
		status = line.kind == PW_X_END ? take_end(t, &line) : take_body(t, text, &line);
	pw_export_free(&line);
	return status;
}

static int pass(struct taking_in *t, bool take)
{
	char *text = NULL;
	size_t room = 0;
	ssize_t n;
	int status = 0;

	t->take = take;
	t->line = 0;
	t->begins_at = 2;
	t->ended = false;
	t->length = t->sealed = 0;
	t->records = t->seals = t->sealed_records = t->all_records = t->all_seals = 0;
	rewind(t->file);
	while (status == 0 && (n = getline(&text, &room, t->file)) > 0) {
		t->line++;
		if (text[n - 1] == '\n')
			text[n - 1] = '\0';
		status = take_line(t, text);
	}
	free(text);
	if (status == 0 && !t->ended)
		status = pw_order_bad(t->order, "%s:%u: expected an end line: the file was cut off",
				      t->path, t->line + 1);
	return status;
}

int pw_do_take_in(struct pw_order *c)
{
	struct taking_in *t = calloc(1, sizeof(*t));
	int status;

	if (!t)
		return pw_order_not(c, "there is no memory for it");
	t->order = c;
	pw_order_path(c, c->argv[1], t->path, sizeof(t->path));
	t->file = fopen(t->path, "re");
	status = t->file ? pass(t, false) : pw_order_bad(c, "%s: %s", t->path, strerror(errno));
	if (status == 0)
		status = pass(t, true);
	if (status == 0)
		fprintf(c->out, "bus %s: %" PRIu64 " records, %" PRIu64 " of them new%s%s\n",
			t->bus, t->all_records - t->records, t->fresh,
			t->fork ? "; this chain stands beside another one of its epoch" : "",
			t->records ? "; behind the last seal there are more, and nothing vouches "
				     "for them"
				   : "");
	if (status == 0 && c->o->teller)
		pw_teller_wake(c->o->teller);
	if (t->file)
		fclose(t->file);
	free(t->text);
	free(t);
	return status;
}
