/* SPDX-License-Identifier: Apache-2.0 */
/* Lines for a shell: they check a sweep's record, its seal and its bus's chain, without a page. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "sweep.h"

/* In single quotes, whatever it is. */
static void quote(const char *text, FILE *out)
{
	putc('\'', out);
	for (; *text; text++)
		if (*text == '\'')
			fputs("'\\''", out);
		else
			putc(*text, out);
	putc('\'', out);
}

/* J3: the body is last, and has no line end. */
static void write_record(const struct pw_one_sweep *o, FILE *out)
{
	const struct pw_record *r = &o->of.record;

	fprintf(out,
		"head -c -1 >record.txt <<'END-OF-RECORD'\npostwalk-record-v1\n%s\n%s\n%" PRIu64
		"\n%" PRIu64 "\n%" PRId64 "\n%" PRId64 "\n%d\n%s\n%s\n%s\nEND-OF-RECORD\n",
		o->row.key.bus, r->epoch, r->seq, r->boot, r->mono_ms, r->wall_ms, r->wall_ok,
		pw_kind_name(r->kind), o->prev, o->body);
	fprintf(out, "echo '%s  record.txt' | sha256sum --check\n", r->hash);
}

static void write_seal(const struct pw_one_sweep *o, FILE *out)
{
	char text[PW_SEAL_TEXT_MAX], pem[PW_PEM_MAX];

	pw_seal_text(o->row.key.bus, o->row.epoch, &o->seal, text);
	pw_public_key_pem(&o->key_by, pem);
	fprintf(out, "cat >bus.pub <<'END-OF-KEY'\n%sEND-OF-KEY\n", pem);
	fprintf(out, "openssl pkey -pubin -in bus.pub -outform DER | sha256sum\n");
	fprintf(out, "cat >seal.txt <<'END-OF-SEAL'\n%sEND-OF-SEAL\n", text);
	fprintf(out, "echo '%s' | tr a-f A-F | basenc --base16 -d >seal.sig\n", o->seal.sig);
	fprintf(out,
		"openssl pkeyutl -verify -rawin -pubin -inkey bus.pub -in seal.txt -sigfile seal.sig\n");
}

static void write_chain(const struct pw_one_sweep *o, FILE *out)
{
	fprintf(out, "postwalk-office export --office ");
	quote(o->q->o->dir, out);
	fprintf(out, " %s --epoch %s --branch %" PRIu32 " >bus.jsonl\n", o->row.key.bus,
		o->row.epoch,
		o->row.branch);
	fprintf(out, "postwalk verify --key bus.pub bus.jsonl\n");
}

static void put(const struct pw_one_sweep *o, struct pw_report *r,
		void (*write)(const struct pw_one_sweep *o, FILE *out))
{
	char *text = NULL;
	size_t length;
	FILE *out = open_memstream(&text, &length);

	if (!out)
		return;
	write(o, out);
	fclose(out);
	if (text)
		pw_report_verbatim(r, text);
	free(text);
}

void pw_sweep_check(const struct pw_one_sweep *o, struct pw_report *r)
{
	char fingerprint[65], seq[24];

	pw_report_say(r, PW_SAY_HEADING, PW_P_SWEEPS_CHECK, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_SWEEPS_CHECK_RECORD, NULL);
	put(o, r, write_record);
	if (!o->sealed)
		return;
	pw_public_key_print(&o->key_by, fingerprint);
	snprintf(seq, sizeof(seq), "%" PRIu64, o->seal.seq);
	pw_report_say(r, PW_SAY_TEXT, PW_P_SWEEPS_CHECK_SEAL, seq, NULL);
	put(o, r, write_seal);
	pw_report_say(r, PW_SAY_CAUTION, PW_P_SWEEPS_CHECK_KEY, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_SWEEPS_CHECK_CHAIN, NULL);
	put(o, r, write_chain);
}
