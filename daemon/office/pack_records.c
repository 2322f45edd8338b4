/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The signed records of a bus, a file a branch, as `postwalk-office export` gives them: from where its
 * chain begins to its head, since no shorter piece can be checked; what they recorded in the period; and
 * the office's receipt for each head.
 */
#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "commands_internal.h"
#include "pack_internal.h"

/* -- what was recorded ------------------------------------------------------------------------- */

static void note_fault(struct pw_pack *p, const char *bus, const struct pw_record *r)
{
	json_t *body = json_loads(r->body, 0, NULL);
	const char *name = json_string_value(json_object_get(body, "name"));
	struct pw_pack_fault *f = p->faults.item;
	size_t i = p->faults.count;

	if (!name || !json_is_true(json_object_get(body, "on"))) {
		json_decref(body);
		return;
	}
	while (i > 0 && strcmp(f[i - 1].bus, bus) == 0 && strcmp(f[i - 1].name, name) != 0)
		i--;
	if (i > 0 && strcmp(f[i - 1].bus, bus) == 0) {
		f = &f[i - 1];
	} else if ((f = pw_pack_add(&p->faults, sizeof(*f), PW_PACK_SHOWN)) != NULL) {
		snprintf(f->bus, sizeof(f->bus), "%s", bus);
		snprintf(f->name, sizeof(f->name), "%s", name);
		f->first_ms = r->wall_ms;
	}
	if (f) {
		f->count++;
		f->last_ms = r->wall_ms;
	}
	json_decref(body);
}

/* What stood before this branch began is counted with the branch that it is of. */
static void note_record(struct pw_pack *p, struct pw_pack_bus *b, const struct pw_branch *of,
			const struct pw_record *r)
{
	if (r->seq < of->first)
		return;
	++*pw_pack_number(&b->of, PW_PACK_SINGLE, PW_PACK_RECORDS);
	if (r->wall_ms < p->from_ms || r->wall_ms >= p->to_ms)
		return;
	++*pw_pack_number(&b->of, PW_PACK_KIND, r->kind - 1);
	if (r->kind == PW_K_FAULT)
		note_fault(p, b->bus, r);
}

static void note_line(struct pw_pack *p, struct pw_pack_bus *b, struct pw_pack_chain *c,
		      const struct pw_export_line *line, struct pw_public_key *key)
{
	switch (line->kind) {
	case PW_X_HEAD:
		*key = line->key;
		break;
	case PW_X_RECORD:
		note_record(p, b, &c->branch, &line->record);
		break;
	case PW_X_SEAL:
		*pw_pack_number(&b->of, PW_PACK_SINGLE, PW_PACK_SEALS) += line->seal.seq >= c->branch.first;
		break;
	case PW_X_END:
		c->records = line->records;
		c->seals = line->seals;
		break;
	case PW_X_PURGED:
		break;
	}
}

/* Read back line by line: what is counted is what stands in the file. */
static int note_file(struct pw_pack *p, struct pw_pack_bus *b, struct pw_pack_chain *c, FILE *f,
		     struct pw_public_key *key)
{
	struct pw_export_line line;
	char *text = NULL, *body = malloc(PW_EXPORT_LINE_MAX);
	size_t room = 0;
	ssize_t length;
	int result = body ? 0 : pw_pack_broke(p, c->file);

	while (result == 0 && (length = getline(&text, &room, f)) > 0) {
		length -= text[length - 1] == '\n';
		line.kind = PW_X_RECORD;
		if ((size_t)length < PW_EXPORT_LINE_MAX &&
		    pw_record_line(text, (size_t)length, body, &line.record)) {
			note_line(p, b, c, &line, key);
			continue;
		}
		result = pw_export_read(text, (size_t)length, &line, p->why, sizeof(p->why));
		if (result)
			break;
		note_line(p, b, c, &line, key);
		pw_export_free(&line);
	}
	free(body);
	free(text);
	return result;
}

/* -- a branch ---------------------------------------------------------------------------------- */

static int export(struct pw_pack *p, const struct pw_pack_chain *c)
{
	char digits[16], said[200] = "";
	struct pw_order order = { .o = p->o, .argc = 2, .argv = { "export", c->branch.bus }, .cwd = p->dir,
				  .epoch = c->branch.epoch, .branch = digits };
	int status;

	snprintf(digits, sizeof(digits), "%" PRIu32, c->branch.branch);
	order.out = pw_pack_open(p, c->file);
	order.err = fmemopen(said, sizeof(said), "w");
	if (!order.out || !order.err) {
		if (order.out)
			fclose(order.out);
		return -1;
	}
	status = pw_do_export(&order);
	fclose(order.err);
	if (pw_pack_close(p, &order.out))
		return -1;
	if (status)
		snprintf(p->why, sizeof(p->why), "%s", said);
	return status ? -1 : 0;
}

static int write_receipt(struct pw_pack *p, const struct pw_branch *b)
{
	struct pw_receipt r = { .seq = b->head, .time_ms = p->order->now_ms };
	char line[600];

	memcpy(r.bus, b->bus, sizeof(r.bus));
	memcpy(r.epoch, b->epoch, sizeof(r.epoch));
	memcpy(r.hash, b->hash, sizeof(r.hash));
	memcpy(r.nonce, p->nonce, sizeof(r.nonce));
	pw_receipt_sign(&r, &p->o->key);
	if (pw_receipt_write(&r, line, sizeof(line)) < 0)
		return pw_pack_broke(p, "receipts.jsonl");
	fprintf(p->receipts, "%s\n", line);
	return 0;
}

static void tell_chain(struct pw_pack *p, const struct pw_pack_chain *c, const char *key)
{
	static const char *const why[] = { [PW_BRANCH_FIRST] = "first", [PW_BRANCH_FORK] = "fork",
					   [PW_BRANCH_HOLE] = "hole" };
	const struct pw_branch *b = &c->branch;

	fprintf(p->chain_lines, "{\"bus\":\"%s\",\"epoch\":\"%s\",\"branch\":%" PRIu32 ",\"why\":\"%s\","
		"\"first\":%" PRIu64 ",\"head\":%" PRIu64 ",\"purged\":%" PRIu64 ",\"file\":\"%s\","
		"\"key\":\"%s\"}\n", b->bus, b->epoch, b->branch, why[b->why], b->first, b->head, b->purged,
		c->file, key);
	fprintf(p->chain_names, "%s %s\n", key, c->file);
}

static int write_chain(struct pw_pack *p, struct pw_pack_bus *b, const struct pw_branch *branch)
{
	struct pw_pack_chain c = { .branch = *branch }, *shown;
	struct pw_public_key key = b->key;
	char path[700], file[96] = "-";
	FILE *f;
	int result;

	snprintf(c.file, sizeof(c.file), "records/%s-%s-%" PRIu32 ".jsonl", branch->bus, branch->epoch,
		 branch->branch);
	if ((result = export(p, &c)))
		return result;
	snprintf(path, sizeof(path), "%s/%s", p->dir, c.file);
	f = fopen(path, "re");
	if (!f)
		return pw_pack_broke(p, c.file);
	result = note_file(p, b, &c, f, &key);
	fclose(f);
	if (result)
		return result;
	++*pw_pack_number(&b->of, PW_PACK_SINGLE, PW_PACK_CHAINS);
	pw_pack_key_file(p, b->bus, &key, file);
	tell_chain(p, &c, file);
	shown = pw_pack_add(&p->chains, sizeof(*shown), PW_PACK_SHOWN);
	if (shown)
		*shown = c;
	return write_receipt(p, branch);
}

/* An epoch in which nothing came since the period began has no record of it, unless its clock was
 * ahead; of one that has, all its branches, so that each record stands in the file of its own. */
static bool is_wanted(const struct pw_pack *p, const struct pw_pack_many *branches, const char *epoch)
{
	const struct pw_branch *b = branches->item;

	for (size_t i = 0; i < branches->count; i++)
		if (strcmp(b[i].epoch, epoch) == 0 && b[i].moved_ms >= p->from_ms)
			return true;
	return false;
}

int pw_pack_records_of(struct pw_pack *p, struct pw_pack_bus *b, const struct pw_pack_many *branches)
{
	const struct pw_branch *branch = branches->item;
	int result = 0;

	for (size_t i = 0; i < branches->count && result == 0; i++)
		if (is_wanted(p, branches, branch[i].epoch))
			result = write_chain(p, b, &branch[i]);
	return result;
}
