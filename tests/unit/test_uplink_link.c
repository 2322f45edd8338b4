/* SPDX-License-Identifier: Apache-2.0 */
/* The link against a made-up office: what each status of docs/protocol.md comes to, receipts, packing. */
#include "uplink_office.h"

#include <time.h>
#include <unistd.h>

#include "postwalk/delivery.h"

struct fixture {
	struct office *office;
	struct pw_link *link;
	struct journal journal;
	struct pw_reply reply;
};

static int begin(void **state)
{
	struct fixture *f = calloc(1, sizeof(*f));
	struct pw_place place = { .token = TOKEN };
	char why[200];

	assert_non_null(f);
	f->office = office_open();
	journal_make(&f->journal, 8, 0);
	strcpy(place.url, f->office->url);
	place.key = f->office->key.public;
	assert_int_equal(pw_link_open(&place, &pw_patience, &f->link, why, sizeof(why)), 0);
	*state = f;
	return 0;
}

static int end(void **state)
{
	struct fixture *f = *state;

	pw_link_close(f->link);
	office_close(f->office);
	free(f);
	return 0;
}

/* -- one request of each kind ------------------------------------------------------------------ */

static void ask_heads(struct fixture *f)
{
	pw_link_heads(f->link, BUS, EPOCH, &f->reply);
}

static void send_records(struct fixture *f)
{
	char *text = journal_text(&f->journal, 1, 4);

	pw_link_records(f->link, BUS, text, strlen(text), false, &f->reply);
	free(text);
}

static void send_alert(struct fixture *f)
{
	char *text = journal_text(&f->journal, 4, 4);

	pw_link_alert(f->link, BUS, text, strlen(text), &f->reply);
	free(text);
}

static void enrol(struct fixture *f)
{
	struct pw_place place = { .ca = "" };

	strcpy(place.url, f->office->url);
	pw_link_enrol(&place, BUS, CODE, &f->journal.key, NULL, &f->reply);
}

static const struct request_kind {
	void (*send)(struct fixture *f);
	const char *path;
} kinds[] = {
	{ ask_heads, "/v1/office" }, { ask_heads, "/head" }, { send_records, "/records" },
	{ send_alert, "/alert" },    { enrol, "/v1/enrol" },
};
#define KINDS (sizeof(kinds) / sizeof(kinds[0]))

static void assert_said(const struct fixture *f, enum pw_said said, const char *words)
{
	if (f->reply.said != said || !strstr(f->reply.why, words))
		fail_msg("expected %d and \"%s\", not %d and \"%s\"", said, words, f->reply.said,
			 f->reply.why);
}

/* -- statuses: docs/protocol.md, "Answers that are not 200" ------------------------------------ */

#define ERROR(word, words) "{\"error\":\"" word "\",\"words\":\"" words "\"}"

static const struct row {
	int status;
	const char *body, *retry_after;
	enum pw_said said;
	int retry_s;
	const char *words;
} rows[] = {
	{ 400, ERROR("bad", "line 2 is none"), NULL, PW_SAID_REFUSED, 0, "line 2 is none (400)" },
	{ 401, ERROR("token", "not this bus's"), NULL, PW_SAID_REFUSED, 0, "not this bus's (401)" },
	{ 403, ERROR("code", "the code was used"), NULL, PW_SAID_REFUSED, 0, "the code was used" },
	{ 403, ERROR("key", "not the bus's key"), NULL, PW_SAID_REFUSED, 0, "not the bus's key" },
	{ 404, ERROR("path", "nothing here"), NULL, PW_SAID_REFUSED, 0, "nothing here (404)" },
	{ 404, "<html>", NULL, PW_SAID_REFUSED, 0, "status 404" },
	{ 408, "", NULL, PW_SAID_LATER, 0, "status 408" },
	{ 411, ERROR("length", "no length"), NULL, PW_SAID_REFUSED, 0, "no length" },
	{ 413, ERROR("large", "too large"), NULL, PW_SAID_REFUSED, 0, "too large" },
	{ 415, ERROR("packing", "only gzip"), NULL, PW_SAID_REFUSED, 0, "only gzip" },
	{ 422, ERROR("unsound", "a seal"), NULL, PW_SAID_REFUSED, 0, "a seal (422)" },
	{ 429, ERROR("later", "too much now"), "12", PW_SAID_LATER, 12, "too much now (429)" },
	{ 431, ERROR("headers", "long"), NULL, PW_SAID_REFUSED, 0, "long" },
	{ 500, "no JSON", NULL, PW_SAID_LATER, 0, "status 500" },
	{ 502, "", "30", PW_SAID_LATER, 30, "status 502" },
	{ 503, ERROR("later", "the store is away"), "5", PW_SAID_LATER, 5, "the store is away" },
	{ 503, ERROR("later", "x"), "999999999999", PW_SAID_LATER, 3600, "x" },
	{ 503, ERROR("later", "x"), "-5", PW_SAID_LATER, 0, "x" },
	{ 503, ERROR("later", "x"), "soon", PW_SAID_LATER, 0, "x" },
	{ 503, ERROR("later", "x"), "Fri, 07 Nov 1997 23:59:59 GMT", PW_SAID_LATER, 0, "x" },
	{ 201, "{}", NULL, PW_SAID_REFUSED, 0, "status 201" },
	{ 204, "", NULL, PW_SAID_REFUSED, 0, "status 204" },
	{ 301, "", NULL, PW_SAID_REFUSED, 0, "301" },
	{ 200, "", NULL, PW_SAID_LATER, 0, "cut off" },
	{ 200, "{\"heads\":[", NULL, PW_SAID_LATER, 0, "cut off" },
	{ 200, "<html>", NULL, PW_SAID_REFUSED, 0, "cannot be understood" },
	{ 200, "[]", NULL, PW_SAID_REFUSED, 0, "cannot be understood" },
	{ 200, "{}", NULL, PW_SAID_REFUSED, 0, "cannot be understood" },
	{ 200, "{\"heads\":1,\"heads\":[]}", NULL, PW_SAID_REFUSED, 0, "cannot be understood" },
	{ 503, ERROR("later", "a \\u001b[2J b\\u009bc \\n d"), NULL, PW_SAID_LATER, 0, "a ?[2J b?c ? d" },
};

static void each_status_has_its_meaning(void **state)
{
	struct fixture *f = *state;

	for (size_t k = 0; k < KINDS; k++)
		for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
			const struct row *r = &rows[i];

			office_can(f->office, (struct canned){
				.status = r->status, .body = r->body, .path = kinds[k].path,
				.header = r->retry_after ? "Retry-After" : NULL,
				.value = r->retry_after });
			kinds[k].send(f);
			assert_said(f, r->said, r->words);
			assert_int_equal(f->reply.retry_s, r->retry_s);
			assert_int_equal(f->office->canned_count, 0);
		}
}

/* RFC 9110, 10.2.3: a date will do as well. */
static void retry_after_may_be_a_date(void **state)
{
	struct fixture *f = *state;
	time_t then = time(NULL) + 100;
	struct tm tm;
	char text[64];

	gmtime_r(&then, &tm);
	strftime(text, sizeof(text), "%a, %d %b %Y %H:%M:%S GMT", &tm);
	office_can(f->office, (struct canned){ .status = 503, .body = "", .header = "Retry-After",
					       .value = text });
	ask_heads(f);
	assert_said(f, PW_SAID_LATER, "503");
	assert_in_range(f->reply.retry_s, 90, 100);
}

static void waits_and_gaps(void **state)
{
	struct fixture *f = *state;
	char body[300];

	for (size_t k = 0; k < KINDS - 1; k++) {
		office_can(f->office, (struct canned){
			.status = 202, .body = ERROR("waits", "a person has to decide"),
			.path = kinds[k].path });
		kinds[k].send(f);
		assert_said(f, PW_SAID_WAITS, "a person has to decide (202)");
	}
	snprintf(body, sizeof(body), "{\"error\":\"gap\",\"words\":\"no\",\"heads\":[{\"epoch\":\"" EPOCH
		 "\",\"branch\":1,\"seq\":77,\"hash\":\"%s\"}]}", f->journal.record[3].hash);
	for (size_t k = 2; k < 4; k++) {
		office_can(f->office, (struct canned){ .status = 409, .body = body,
						       .path = kinds[k].path });
		kinds[k].send(f);
		assert_said(f, PW_SAID_GAP, "no (409)");
		assert_int_equal(f->reply.heads.count, 1);
		assert_int_equal(f->reply.heads.head[0].seq, 77);
		assert_int_equal(f->reply.heads.head[0].branch, 1);
		assert_string_equal(f->reply.heads.head[0].epoch, EPOCH);
		assert_string_equal(f->reply.heads.head[0].hash, f->journal.record[3].hash);
	}
}

/* -- heads ------------------------------------------------------------------------------------- */

static void heads_are_read(void **state)
{
	struct fixture *f = *state;
	struct journal other;

	ask_heads(f);
	assert_said(f, PW_SAID_SO, "");
	assert_int_equal(f->reply.heads.count, 0);
	office_has(f->office, &f->journal, 1, 8);
	journal_make(&other, 5, 3);
	office_has(f->office, &other, 1, 5);
	ask_heads(f);
	assert_int_equal(f->reply.heads.count, 2);
	assert_int_equal(f->reply.heads.head[0].seq, 8);
	assert_int_equal(f->reply.heads.head[1].seq, 5);
	assert_int_equal(f->reply.heads.head[1].branch, 1);
	assert_string_equal(f->reply.heads.head[1].hash, other.record[5].hash);
	assert_string_equal(f->office->token, "Bearer " TOKEN);
}

static void heads_that_are_none(void **state)
{
#define H64 "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
#define HEAD(epoch, branch, seq, hash) \
	"{\"heads\":[{\"epoch\":" epoch ",\"branch\":" branch ",\"seq\":" seq ",\"hash\":" hash "}]}"
	static const char *const bodies[] = {
		"{\"heads\":{}}", "{\"heads\":[1]}", "{\"heads\":[{}]}",
		HEAD("\"" EPOCH "\"", "0", "0", "\"" H64 "\""),
		HEAD("\"" EPOCH "\"", "0", "-1", "\"" H64 "\""),
		HEAD("\"" EPOCH "\"", "0", "1.5", "\"" H64 "\""),
		HEAD("\"" EPOCH "\"", "-1", "1", "\"" H64 "\""),
		HEAD("\"" EPOCH "\"", "4294967296", "1", "\"" H64 "\""),
		HEAD("\"" EPOCH "0\"", "0", "1", "\"" H64 "\""),
		HEAD("\"0123456789ABCDEF\"", "0", "1", "\"" H64 "\""),
		HEAD("\"" EPOCH "\"", "0", "1", "\"" H64 "0\""),
		HEAD("\"" EPOCH "\"", "0", "1", "7"),
		HEAD("\"" EPOCH "\"", "0", "\"1\"", "\"" H64 "\""),
	};
	struct fixture *f = *state;

	for (size_t i = 0; i < sizeof(bodies) / sizeof(bodies[0]); i++) {
		office_can(f->office, (struct canned){ .status = 200, .body = bodies[i],
						       .path = "/head" });
		ask_heads(f);
		assert_said(f, PW_SAID_REFUSED, "expected heads");
	}
}

static void more_heads_than_fit(void **state)
{
	struct fixture *f = *state;
	char body[8192] = "{\"heads\":[";

	for (int i = 0; i < 40; i++)
		snprintf(body + strlen(body), sizeof(body) - strlen(body),
			 "%s{\"epoch\":\"" EPOCH "\",\"branch\":%d,\"seq\":%d,\"hash\":\"" H64 "\"}",
			 i ? "," : "", i, i + 1);
	strcat(body, "]}");
	office_can(f->office, (struct canned){ .status = 200, .body = body, .path = "/head" });
	ask_heads(f);
	assert_said(f, PW_SAID_SO, "");
	assert_int_equal(f->reply.heads.count, PW_HEADS_MAX);
}

static void another_office_is_a_stranger(void **state)
{
	static const unsigned char seed[32] = "another office";
	struct fixture *f = *state;

	pw_secret_key_from(seed, &f->office->key);
	ask_heads(f);
	assert_said(f, PW_SAID_STRANGER, "another key");
}

/* A bus may be called "..": a path is not to be tidied up. */
static void the_path_is_as_it_is(void **state)
{
	struct fixture *f = *state;

	pw_link_heads(f->link, "..", EPOCH, &f->reply);
	assert_string_equal(f->office->path, "/v1/bus/../head");
}

/* -- receipts ---------------------------------------------------------------------------------- */

static void a_receipt_that_holds(void **state)
{
	struct fixture *f = *state;

	send_records(f);
	assert_said(f, PW_SAID_SO, "");
	assert_false(f->reply.receipt.alert);
	assert_string_equal(f->reply.receipt.bus, BUS);
	assert_string_equal(f->reply.receipt.epoch, EPOCH);
	assert_int_equal(f->reply.receipt.seq, 4);
	assert_string_equal(f->reply.receipt.hash, f->journal.record[4].hash);
	assert_int_equal(f->reply.receipt.time_ms, NOW_MS);
	assert_false(f->reply.fork);
	send_alert(f);
	assert_said(f, PW_SAID_SO, "");
	assert_true(f->reply.receipt.alert);
	assert_int_equal(f->reply.receipt.seq, 4);
}

static void a_fork_is_told(void **state)
{
	struct fixture *f = *state;
	struct journal other;

	journal_make(&other, 8, 2);
	office_has(f->office, &other, 1, 8);
	send_records(f);
	assert_said(f, PW_SAID_SO, "");
	assert_true(f->reply.fork);
}

static void change_digit(char *digit)
{
	*digit = *digit == '0' ? '1' : '0';
}

static void other_bus(struct pw_receipt *r, struct office *o) { (void)o; strcpy(r->bus, "15"); }
static void other_epoch(struct pw_receipt *r, struct office *o) { (void)o; change_digit(r->epoch); }
static void other_seq(struct pw_receipt *r, struct office *o) { (void)o; r->seq++; }
static void other_hash(struct pw_receipt *r, struct office *o) { (void)o; change_digit(r->hash); }
static void other_kind(struct pw_receipt *r, struct office *o) { (void)o; r->alert = !r->alert; }
static void other_nonce(struct pw_receipt *r, struct office *o) { (void)o; change_digit(r->nonce); }

/* Rightly signed, and not for what was sent. */
static void receipts_for_something_else(void **state)
{
	static const struct { void (*twist)(struct pw_receipt *, struct office *); const char *words; } all[] = {
		{ other_bus, "for another bus" },       { other_epoch, "for another epoch" },
		{ other_seq, "for another record" },    { other_hash, "for another record" },
		{ other_kind, "the receipt is for a" }, { other_nonce, "for another request" },
	};
	struct fixture *f = *state;

	for (size_t i = 0; i < sizeof(all) / sizeof(all[0]); i++) {
		f->office->twist = all[i].twist;
		send_records(f);
		assert_said(f, PW_SAID_STRANGER, all[i].words);
		send_alert(f);
		assert_said(f, PW_SAID_STRANGER, all[i].words);
	}
}

static void sign_by_another(struct pw_receipt *r, struct office *o)
{
	static const unsigned char seed[32] = "another office";
	struct pw_secret_key key;

	(void)o;
	pw_secret_key_from(seed, &key);
	pw_receipt_sign(r, &key);
}

static void change_time(struct pw_receipt *r, struct office *o)
{
	pw_receipt_sign(r, &o->key);
	r->time_ms++;
}

static void change_signature(struct pw_receipt *r, struct office *o)
{
	pw_receipt_sign(r, &o->key);
	change_digit(&r->sig[5]);
}

static void receipts_not_by_the_office(void **state)
{
	void (*const all[])(struct pw_receipt *, struct office *) = {
		sign_by_another, change_time, change_signature,
	};
	struct fixture *f = *state;

	for (size_t i = 0; i < sizeof(all) / sizeof(all[0]); i++) {
		f->office->sign = all[i];
		send_records(f);
		assert_said(f, PW_SAID_STRANGER, "not signed by the office of this bus");
		send_alert(f);
		assert_said(f, PW_SAID_STRANGER, "not signed by the office of this bus");
	}
}

/* The very receipt of the time before, rightly signed: it is no answer to this request. */
static void an_old_receipt_is_none(void **state)
{
	struct fixture *f = *state;
	char text[1024];

	send_records(f);
	assert_true(pw_receipt_write(&f->reply.receipt, text, sizeof(text)) > 0);
	office_can(f->office, (struct canned){ .status = 200, .body = text, .path = "/records" });
	send_records(f);
	assert_said(f, PW_SAID_STRANGER, "for another request");
}

static void nonces_are_drawn_anew(void **state)
{
	struct fixture *f = *state;
	char before[33] = "";

	for (int i = 0; i < 3; i++) {
		send_records(f);
		assert_int_equal(strspn(f->reply.receipt.nonce, "0123456789abcdef"), 32);
		assert_string_not_equal(f->reply.receipt.nonce, before);
		strcpy(before, f->reply.receipt.nonce);
	}
}

/* -- openssl ----------------------------------------------------------------------------------- */

static void write_file(const char *path, const void *bytes, size_t n)
{
	FILE *file = fopen(path, "w");

	must(file && fwrite(bytes, 1, n, file) == n && fclose(file) == 0);
}

/* Ed25519 keys and signatures by openssl 3 (genpkey, pkeyutl -sign -rawin), over the seven lines of
 * docs/protocol.md, put together here by hand. */
static void sign_by_openssl(struct pw_receipt *r, struct office *o)
{
	char dir[] = "/tmp/postwalk-sign-XXXXXX", command[400], text[400], path[100];
	FILE *sig;
	int n = snprintf(text, sizeof(text), "%s\n%s\n%s\n%llu\n%s\n%lld\n%s\n",
			 r->alert ? "postwalk-alert-v1" : "postwalk-receipt-v1", r->bus, r->epoch,
			 (unsigned long long)r->seq, r->hash, (long long)r->time_ms, r->nonce);

	(void)o;
	must(mkdtemp(dir) != NULL);
	snprintf(path, sizeof(path), "%s/text", dir);
	write_file(path, text, (size_t)n);
	snprintf(command, sizeof(command), "openssl pkeyutl -sign -rawin -inkey /tmp/postwalk-openssl.%d.key "
		 "-in %s/text | od -An -v -tx1 | tr -d ' \\n'", (int)getpid(), dir);
	sig = popen(command, "r");
	must(sig && fread(r->sig, 1, 128, sig) == 128);
	pclose(sig);
	r->sig[128] = '\0';
	snprintf(command, sizeof(command), "rm -rf %s", dir);
	must(system(command) == 0);
}

static void a_receipt_made_by_openssl_holds(void **state)
{
	struct fixture *f = *state;
	struct pw_place place = { .token = TOKEN };
	char command[400], key[64], pub[64], why[200];

	snprintf(key, sizeof(key), "/tmp/postwalk-openssl.%d.key", (int)getpid());
	snprintf(pub, sizeof(pub), "/tmp/postwalk-openssl.%d.pub", (int)getpid());
	snprintf(command, sizeof(command), "openssl genpkey -algorithm ed25519 -out %s && "
		 "openssl pkey -in %s -pubout -out %s", key, key, pub);
	assert_int_equal(system(command), 0);
	strcpy(place.url, f->office->url);
	assert_int_equal(pw_public_key_load(pub, &place.key, why, sizeof(why)), 0);
	pw_link_close(f->link);
	assert_int_equal(pw_link_open(&place, &pw_patience, &f->link, why, sizeof(why)), 0);
	f->office->sign = sign_by_openssl;
	send_records(f);
	assert_said(f, PW_SAID_SO, "");
	send_alert(f);
	assert_said(f, PW_SAID_SO, "");
	unlink(key);
	unlink(pub);
}

/* -- what is sent ------------------------------------------------------------------------------ */

static void records_go_packed_where_the_office_takes_it(void **state)
{
	struct fixture *f = *state;
	char *text = journal_text(&f->journal, 1, 4), path[64], command[200], *unpacked;
	FILE *zstd;

	send_records(f); /* not asked yet what it takes */
	assert_string_equal(f->office->encoding, "");
	assert_int_equal(f->office->raw_length, strlen(text));
	assert_memory_equal(f->office->raw, text, strlen(text));
	ask_heads(f);
	send_records(f);
	assert_string_equal(f->office->encoding, "zstd");
	assert_int_equal(strtoul(f->office->length, NULL, 10), f->office->raw_length);
	assert_true(f->office->raw_length < strlen(text));
	/* zstd 1.5, the tool */
	snprintf(path, sizeof(path), "/tmp/postwalk-body.%d", (int)getpid());
	write_file(path, f->office->raw, f->office->raw_length);
	snprintf(command, sizeof(command), "zstd -dc <%s", path);
	zstd = popen(command, "r");
	unpacked = calloc(1, strlen(text) + 2);
	assert_int_equal(fread(unpacked, 1, strlen(text) + 1, zstd), strlen(text));
	assert_int_equal(pclose(zstd), 0);
	assert_string_equal(unpacked, text);
	unlink(path);
	free(unpacked);
	free(text);
	f->office->zstd = false; /* asked anew with each contact */
	ask_heads(f);
	send_records(f);
	assert_string_equal(f->office->encoding, "");
	assert_said(f, PW_SAID_SO, "");
}

static void an_alert_goes_as_it_is(void **state)
{
	struct fixture *f = *state;

	ask_heads(f);
	send_alert(f);
	assert_string_equal(f->office->encoding, "");
	assert_string_equal(f->office->token, "Bearer " TOKEN);
	assert_said(f, PW_SAID_SO, "");
}

static void what_is_no_batch_is_not_sent(void **state)
{
	static const char *const texts[] = {
		"", "\n", "{}", "{}\n", "no JSON\n",
		"{\"end\":{\"records\":0,\"seals\":0}}\n",
		"{\"seal\":{\"seq\":1}}\n{\"end\":{\"records\":0,\"seals\":1}}\n",
	};
	struct fixture *f = *state;

	f->office->raw_length = 12345;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
		pw_link_records(f->link, BUS, texts[i], strlen(texts[i]), false, &f->reply);
		assert_said(f, PW_SAID_REFUSED, "is no batch");
	}
	assert_int_equal(f->office->raw_length, 12345);
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
	const struct CMUnitTest tests[] = {
		TEST(each_status_has_its_meaning),
		TEST(retry_after_may_be_a_date),
		TEST(waits_and_gaps),
		TEST(heads_are_read),
		TEST(heads_that_are_none),
		TEST(more_heads_than_fit),
		TEST(another_office_is_a_stranger),
		TEST(the_path_is_as_it_is),
		TEST(a_receipt_that_holds),
		TEST(a_fork_is_told),
		TEST(receipts_for_something_else),
		TEST(receipts_not_by_the_office),
		TEST(an_old_receipt_is_none),
		TEST(nonces_are_drawn_anew),
		TEST(a_receipt_made_by_openssl_holds),
		TEST(records_go_packed_where_the_office_takes_it),
		TEST(an_alert_goes_as_it_is),
		TEST(what_is_no_batch_is_not_sent),
	};

	return cmocka_run_group_tests_name("uplink: the link", tests, NULL, NULL);
}
