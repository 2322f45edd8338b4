/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

#define DELIVERY_MS 60000 /* it stands for so long before it is a fault, or none any more */

static struct pw_standing_fault *find(const struct pw_bus *b, const char *name)
{
	for (uint32_t i = 0; i < b->faults; i++)
		if (strcmp(b->fault[i].name, name) == 0)
			return (struct pw_standing_fault *)&b->fault[i];
	return NULL;
}

static void begin(struct pw_bus *b, const char *name, const char *words, int64_t at_ms)
{
	struct pw_standing_fault *f = &b->fault[b->faults];

	if (b->faults == PW_FAULTS_MAX)
		return;
	b->faults++;
	snprintf(f->name, sizeof(f->name), "%s", name);
	snprintf(f->words, sizeof(f->words), "%s", words);
	pw_warn("fault %s: %s", name, words);
	pw_note_fault(b, name, true, words, at_ms);
}

static void end(struct pw_bus *b, struct pw_standing_fault *f, int64_t at_ms)
{
	struct pw_standing_fault gone = *f;

	*f = b->fault[--b->faults];
	pw_info("fault %s is over", gone.name);
	pw_note_fault(b, gone.name, false, gone.words, at_ms);
}

void pw_fault_set(struct pw_bus *b, const char *name, const char *words, int64_t at_ms)
{
	struct pw_standing_fault *f = find(b, name);

	if (words && !f)
		begin(b, name, words, at_ms);
	else if (words)
		snprintf(f->words, sizeof(f->words), "%s", words);
	else if (f)
		end(b, f, at_ms);
}

static void look_at_lines(struct pw_bus *b)
{
	char name[PW_NAME_MAX + 8];

	for (unsigned i = 0; i < PW_LINES; i++) {
		if (!b->active.policy.line[i].configured)
			continue;
		snprintf(name, sizeof(name), "line_%.31s", b->active.policy.line[i].name);
		pw_fault_set(b, name, pw_board_fault(b->board, i), b->now_ms);
	}
}

/* It stands until the next start: what was dropped does not come back. */
static void look_at_drops(struct pw_bus *b)
{
	uint32_t dropped = pw_board_dropped(b->board);
	char words[160];

	if (dropped == 0)
		return;
	snprintf(words, sizeof(words), "%u edges came faster than they could be taken and were dropped; "
		 "levels were read again: look for a wire that chatters", dropped);
	pw_fault_set(b, "edges_dropped", words, b->now_ms);
}

/* What a person must look at stands until all is delivered, or nobody delivers: a bus that drives off is
 * only away. An uplink that cannot make up its mind does not fill the journal. */
static void look_at_delivery(struct pw_bus *b)
{
	const struct pw_delivery *d = pw_writer_delivery(b->writer);
	const char *words = d->words[0] ? d->words : "the office refuses what this bus delivers";
	const bool stands = find(b, "delivery") != NULL, refused = d->state == PW_D_REFUSED;
	const bool other = stands ? d->state == PW_D_DONE || d->state == PW_D_NONE : refused;

	if (other && b->delivery_ms == 0)
		b->delivery_ms = b->now_ms;
	if (!other)
		b->delivery_ms = 0;
	if (other && b->now_ms - b->delivery_ms >= DELIVERY_MS) {
		b->delivery_ms = 0;
		pw_fault_set(b, "delivery", refused ? words : NULL, b->now_ms);
	} else if (stands && refused) {
		pw_fault_set(b, "delivery", words, b->now_ms);
	}
}

int64_t pw_faults_next_ms(const struct pw_bus *b)
{
	return b->delivery_ms > 0 ? b->delivery_ms + DELIVERY_MS : PW_NEVER;
}

void pw_faults_look(struct pw_bus *b)
{
	look_at_lines(b);
	look_at_drops(b);
	look_at_delivery(b);
	pw_fault_set(b, "journal", pw_writer_fault(b->writer), b->now_ms);
	pw_fault_set(b, "page", b->page ? pw_page_fault(b->page) : NULL, b->now_ms);
}
