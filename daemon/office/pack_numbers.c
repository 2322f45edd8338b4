/* SPDX-License-Identifier: Apache-2.0 */
/* What a pack counts, by name; and the files of numbers. */
#include <inttypes.h>
#include <jansson.h>
#include <string.h>

#include "csv.h"
#include "pack_internal.h"

static const char *single_name(unsigned i)
{
	static const char *const names[] = {
#define X(up, low) #low,
		PW_PACK_SINGLE_LIST(X)
#undef X
	};

	return names[i];
}

static const char *verdict_name(unsigned i)
{
	return pw_verdict_name((enum pw_verdict)(i + PW_DONE));
}

static const char *result_name(unsigned i)
{
	return pw_result_name((enum pw_result)(i + 1));
}

static const char *why_name(unsigned i)
{
	return pw_no_record_name((enum pw_no_record)(i + 1));
}

static const char *finding_name(unsigned i)
{
	return pw_finding_name((enum pw_finding)i);
}

static const char *kind_name(unsigned i)
{
	return pw_kind_name((enum pw_kind)(i + 1));
}

static const struct { const char *prefix; unsigned count; const char *(*name)(unsigned i); } groups[] = {
	[PW_PACK_SINGLE] = { "", PW_PACK_SINGLES, single_name },
	[PW_PACK_VERDICT] = { "verdict_", PW_MISSED, verdict_name },
	[PW_PACK_RESULT] = { "result_", PW_RESULTS - 1, result_name },
	[PW_PACK_WHY] = { "no_record_", PW_NO_RECORDS - 1, why_name },
	[PW_PACK_FINDING] = { "finding_", PW_FINDINGS, finding_name },
	[PW_PACK_KIND] = { "recorded_", PW_KINDS - 1, kind_name },
};

int64_t *pw_pack_number(struct pw_pack_numbers *of, enum pw_pack_group group, unsigned i)
{
	for (unsigned g = 0; g < (unsigned)group; g++)
		i += groups[g].count;
	return &of->n[i];
}

unsigned pw_pack_group_count(enum pw_pack_group group)
{
	return groups[group].count;
}

void pw_pack_number_name(enum pw_pack_group group, unsigned i, char name[PW_PACK_NAME])
{
	snprintf(name, PW_PACK_NAME, "%s%s", groups[group].prefix, groups[group].name(i));
}

enum pw_phrase pw_pack_number_phrase(enum pw_pack_group group, unsigned i)
{
	char name[PW_PACK_NAME + 8];

	if (group != PW_PACK_SINGLE)
		return pw_phrase_find(groups[group].name(i));
	snprintf(name, sizeof(name), "pack_%s", groups[group].name(i));
	return pw_phrase_find(name);
}

static void add(struct pw_pack_numbers *of, enum pw_pack_group group, unsigned i, int64_t count)
{
	*pw_pack_number(of, group, i) += count;
}

void pw_pack_count_row(struct pw_pack_numbers *of, const struct pw_audit_row *row)
{
	const enum pw_result stands = row->corrected ? row->corrected : row->result;

	add(of, PW_PACK_SINGLE, PW_PACK_ROWS, 1);
	add(of, PW_PACK_SINGLE, PW_PACK_RUNS, row->key.run[0] != '\0');
	add(of, PW_PACK_SINGLE, PW_PACK_CORRECTED, row->corrected != PW_RESULT_NONE);
	if (stands)
		add(of, PW_PACK_RESULT, stands - 1, 1);
	if (row->why)
		add(of, PW_PACK_WHY, row->why - 1, 1);
	if (!row->seq)
		return;
	add(of, PW_PACK_SINGLE, PW_PACK_SWEEPS, 1);
	add(of, PW_PACK_SINGLE, PW_PACK_REFUSED, row->refused);
	add(of, PW_PACK_SINGLE, PW_PACK_CLOCK_DOUBTED, !row->clock_ok);
	if (row->verdict)
		add(of, PW_PACK_VERDICT, row->verdict - PW_DONE, 1);
	if (row->verdict == PW_MISSED && row->unchecked_ms != PW_NO_TIME)
		add(of, PW_PACK_SINGLE, PW_PACK_UNCHECKED_MS, row->unchecked_ms);
	for (unsigned i = 0; i < PW_FINDINGS; i++)
		add(of, PW_PACK_FINDING, i, row->findings >> i & 1);
}

/* -- files ------------------------------------------------------------------------------------- */

static void put_csv(FILE *out, const char *bus, struct pw_pack_numbers *of)
{
	char name[PW_PACK_NAME], value[24];
	const char *const fields[] = { bus, name, value };

	for (enum pw_pack_group g = PW_PACK_SINGLE; g < PW_PACK_GROUPS; g++)
		for (unsigned i = 0; i < groups[g].count; i++) {
			pw_pack_number_name(g, i, name);
			snprintf(value, sizeof(value), "%" PRId64, *pw_pack_number(of, g, i));
			pw_csv_write(out, 3, fields);
		}
}

static int write_csv(struct pw_pack *p)
{
	static const char *const heads[] = { "bus", "number", "value" };
	FILE *out = pw_pack_open(p, "numbers.csv");

	if (!out)
		return -1;
	pw_csv_write(out, 3, heads);
	put_csv(out, "", &p->all);
	for (size_t i = 0; i < p->buses.count; i++)
		put_csv(out, pw_pack_bus_at(p, i)->bus, &pw_pack_bus_at(p, i)->of);
	return pw_pack_close(p, &out);
}

static void put_json(FILE *out, struct pw_pack_numbers *of)
{
	const char *between = "{";
	char name[PW_PACK_NAME];

	for (enum pw_pack_group g = PW_PACK_SINGLE; g < PW_PACK_GROUPS; g++)
		for (unsigned i = 0; i < groups[g].count; i++) {
			pw_pack_number_name(g, i, name);
			fprintf(out, "%s\"%s\":%" PRId64, between, name, *pw_pack_number(of, g, i));
			between = ",";
		}
	putc('}', out);
}

static void put_day(FILE *out, const char *name, int32_t day)
{
	fprintf(out, "\"%s\":\"%04d-%02d-%02d\",", name, day / 10000, day / 100 % 100, day % 100);
}

/* Codes need no escape; the zone's name is somebody's text. */
static int write_json(struct pw_pack *p)
{
	FILE *out = pw_pack_open(p, "numbers.json");
	json_t *zone = json_string(p->o->conf.zone);
	const char *between = "{";

	if (!out) {
		json_decref(zone);
		return -1;
	}
	fprintf(out, "{\"pack\":\"postwalk-pack-v1\",");
	put_day(out, "from", p->order->from);
	put_day(out, "to", p->order->to);
	fprintf(out, "\"from_ms\":%" PRId64 ",\"to_ms\":%" PRId64 ",\"made_ms\":%" PRId64
		",\"made_by\":\"%s\",\"zone\":", p->from_ms, p->to_ms, p->order->now_ms, p->order->who);
	json_dumpf(zone, out, JSON_ENCODE_ANY);
	json_decref(zone);
	fprintf(out, ",\n\"all\":");
	put_json(out, &p->all);
	fprintf(out, ",\n\"buses\":%s", p->buses.count ? "" : "{");
	for (size_t i = 0; i < p->buses.count; i++, between = ",") {
		fprintf(out, "%s\n\"%s\":", between, pw_pack_bus_at(p, i)->bus);
		put_json(out, &pw_pack_bus_at(p, i)->of);
	}
	fprintf(out, "}}\n");
	return pw_pack_close(p, &out);
}

int pw_pack_numbers_write(struct pw_pack *p)
{
	for (size_t i = 0; i < p->buses.count; i++)
		for (size_t n = 0; n < PW_PACK_NUMBERS; n++)
			p->all.n[n] += pw_pack_bus_at(p, i)->of.n[n];
	return write_csv(p) || write_json(p) ? -1 : 0;
}
