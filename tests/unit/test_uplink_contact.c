/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Contacts as stories: what the journal has, what the office has, what goes wrong, and then who asks whom
 * what, in order. docs/protocol.md, "Heads", "Records", "Alerts"; include/postwalk/stretch.h.
 */
#include "uplink_writer.h"

#include <linux/rtnetlink.h>

#include "../../daemon/uplink/uplink_internal.h"

#define LONG_MS 3600000

struct world {
	struct office *office;
	struct journal journal, other;
	struct writer writer;
	struct pw_uplink uplink;
	pthread_t thread;
};

/* -- the uplink's thread ----------------------------------------------------------------------- */

static struct office *noted_in;
static int again_after; /* so many tries fail and are tried again at once; then it waits for long */

static int64_t note_backoff(unsigned n, bool alert, int asked_s, uint32_t random)
{
	(void)random;
	if (asked_s)
		office_note(noted_in, "wait %s%u asked %d", alert ? "alert " : "", n, asked_s);
	else
		office_note(noted_in, "wait %s%u", alert ? "alert " : "", n);
	return again_after-- > 0 ? 0 : LONG_MS;
}

static const struct pw_uplink_pace pace = {
	.backoff_ms = note_backoff, .look_ms = LONG_MS, .network_ms = LONG_MS,
	.answer_ms = DEADLINE_MS,
};

static void *take_turns(void *ctx)
{
	struct world *w = ctx;

	pw_uplink_turns(&w->uplink);
	close(w->uplink.hands.fd);
	return NULL;
}

static struct world *begin(void)
{
	struct world *w = calloc(1, sizeof(*w));

	assert_non_null(w);
	w->office = office_open();
	noted_in = w->office;
	again_after = 0;
	w->writer = (struct writer){ .office = w->office, .journal = &w->journal, .first = 1 };
	w->uplink.hands.wait_ms = pace.answer_ms;
	return w;
}

static void start_with(struct world *w, int of_network)
{
	struct pw_place place = { .token = TOKEN, .key = w->office->key.public };
	char why[200];
	int pair[2];

	strcpy(place.url, w->office->url);
	assert_int_equal(pw_link_open(&place, &pw_patience, &w->uplink.link, why, sizeof(why)), 0);
	assert_int_equal(socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, pair), 0);
	w->writer.fd = pair[0];
	w->uplink.hands.fd = pair[1];
	w->uplink.pace = &pace;
	w->uplink.network = of_network;
	assert_int_equal(pthread_create(&w->thread, NULL, take_turns, w), 0);
}

static void start(struct world *w)
{
	start_with(w, -1);
}

static void discard(struct world *w)
{
	pw_link_close(w->uplink.link);
	office_close(w->office);
	free(w);
}

static void finish(struct world *w)
{
	close(w->writer.fd);
	pthread_join(w->thread, NULL);
	discard(w);
}

/* Plays the writer until all of that was heard, and it is all that was heard. */
static void expect(struct world *w, const char *name, const char *wanted)
{
	const int64_t until_ms = clock_ms() + DEADLINE_MS;
	char log[LOG_MAX] = "";

	while (strlen(log) < strlen(wanted) && clock_ms() < until_ms) {
		if (!writer_turn(&w->writer, until_ms))
			break;
		office_read_log(w->office, log);
	}
	office_read_log(w->office, log);
	if (strcmp(log, wanted) != 0)
		fail_msg("%s: expected\n%s\nbut it went\n%s", name, wanted, log);
}

/* -- stories ----------------------------------------------------------------------------------- */

#define ASK "where\noffice: office\noffice: head\n"
#define S "says sending\n"
#define SEND(from, to) "stretch " #from "\noffice: records " #from "-" #to "\n"
#define END(last, next) "stretch " #next "\nreceipt " #last "\n"
#define DONE "says done\n"
#define LATER "{\"error\":\"later\",\"words\":\"too much now\"}"

static const struct story {
	const char *name;
	uint64_t records, first, receipted; /* of the journal; sealed at each fourth, and the last */
	uint64_t has;                       /* the office: so many of them */
	uint64_t other_from, other_to;      /* or a chain that differs from there on */
	uint64_t alert;
	int again;                          /* tries that are made again at once */
	bool refuses;                       /* the writer: receipts */
	struct canned canned[3];
	const char *words;                  /* that are said at the end */
	const char *goes;
} stories[] = {
	{ .name = "an empty journal asks nobody", .goes = "where\n" DONE },
	{ .name = "what is receipted is not sent again", .records = 10, .receipted = 10, .has = 10,
	  .goes = "where\n" DONE },
	{ .name = "all of it, stretch by stretch, and one receipt", .records = 10,
	  .goes = ASK S SEND(1, 4) SEND(5, 8) SEND(9, 10) END(10, 11) DONE },
	{ .name = "from the office's head on", .records = 10, .receipted = 4, .has = 4,
	  .goes = ASK "hash 4\n" S SEND(5, 8) SEND(9, 10) END(10, 11) DONE },
	{ .name = "the office has it all, and the receipt was lost on its way", .records = 10,
	  .receipted = 4, .has = 10,
	  .goes = ASK "hash 10\n" S SEND(10, 10) END(10, 11) DONE },
	{ .name = "an office that was put back gets again what it had", .records = 10, .receipted = 8,
	  .has = 4, .goes = ASK "hash 4\n" S SEND(5, 8) SEND(9, 10) END(10, 11) DONE },
	{ .name = "a journal put back: from the last receipt, and a person is told", .records = 10,
	  .receipted = 6, .other_from = 8, .other_to = 12, .words = "put back or cloned",
	  .goes = ASK S "stretch 7\noffice: records 7-8\n" SEND(9, 10) END(10, 11)
		  "says refused\n" },
	{ .name = "two journals side by side: each head looked at", .records = 10, .receipted = 6,
	  .other_from = 8, .other_to = 9, .words = "put back or cloned",
	  .goes = ASK "hash 9\n" S "stretch 7\noffice: records 7-8\n" SEND(9, 10) END(10, 11)
		  "says refused\n" },
	{ .name = "without a receipt either: from the first record", .records = 10,
	  .other_from = 3, .other_to = 7, .words = "put back or cloned",
	  .goes = ASK "hash 7\n" S SEND(1, 4) SEND(5, 8) SEND(9, 10) END(10, 11) "says refused\n" },
	{ .name = "pruned up to the head: no hole (J11)", .records = 10, .first = 5, .has = 4,
	  .goes = ASK "hash 4\n" S SEND(5, 8) SEND(9, 10) END(10, 11) DONE },
	{ .name = "pruned, and receipted beyond", .records = 10, .first = 5, .receipted = 8, .has = 8,
	  .goes = ASK "hash 8\n" S SEND(9, 10) END(10, 11) DONE },
	{ .name = "pruned before it could be delivered: a hole, said once", .records = 10, .first = 5,
	  .goes = ASK S "stretch 5\noffice: records 5-8 begins\n" SEND(9, 10) END(10, 11) DONE },
	{ .name = "pruned, and the office has too little", .records = 12, .first = 9, .has = 4,
	  .words = "put back or cloned", /* the made-up office has two chains then */
	  .goes = ASK "hash 4\n" S "stretch 9\noffice: records 9-12 begins\n" END(12, 13)
		  "says refused\n" },
	{ .name = "pruned, and the office has another journal: first without, then as a hole",
	  .records = 10, .first = 5, .other_from = 2, .other_to = 6, .words = "put back or cloned",
	  .goes = ASK "hash 6\n" S SEND(5, 8) "hash 6\nstretch 5\noffice: records 5-8 begins\n"
		  SEND(9, 10) END(10, 11) "says refused\n" },
	{ .name = "a gap that the head did not tell: from the receipt", .records = 10, .receipted = 8,
	  .has = 8, .canned = { { .status = 409, .body = "{\"error\":\"gap\",\"words\":\"no\",\"heads\":[]}",
				  .path = "/records" } },
	  .goes = ASK "hash 8\n" S SEND(9, 10) SEND(9, 10) END(10, 11) DONE },
	{ .name = "a gap wherever it begins", .records = 4,
	  .canned = { { .status = 409, .body = "{\"error\":\"gap\",\"words\":\"no\",\"heads\":[]}",
			.path = "/records" } },
	  .words = "takes this journal from nowhere on",
	  .goes = ASK S SEND(1, 4) "wait 0 asked 900\nsays refused\n" },
	{ .name = "a gap without heads", .records = 4, .words = "expected heads",
	  .canned = { { .status = 409, .body = "{\"error\":\"gap\",\"words\":\"no\"}", .path = "/records" } },
	  .goes = ASK S SEND(1, 4) "wait 0 asked 900\nsays refused\n" },
	{ .name = "an alert first, and alone", .records = 10, .alert = 7,
	  .goes = "where\nalert 7\noffice: alert 7\nreceipt alert 7\nalert 0\n"
		  "office: office\noffice: head\n" S SEND(1, 4) SEND(5, 8) SEND(9, 10) END(10, 11)
		  DONE },
	{ .name = "an alert until it is receipted", .records = 4, .receipted = 4, .alert = 3,
	  .again = 2, .canned = { { .status = 503, .body = LATER, .header = "Retry-After", .value = "3",
				  .path = "/alert" },
				  { .status = 401, .body = "{\"error\":\"token\",\"words\":\"no\"}", .path = "/alert" } },
	  .goes = "where\nalert 3\noffice: alert 3\nwait alert 0 asked 3\nsays away\n"
		  "alert 3\noffice: alert 3\nalert 0\nwait alert 1\nsays refused\n"
		  "alert 3\noffice: alert 3\nreceipt alert 3\nalert 0\n" DONE },
	{ .name = "too much now: later, when the office said", .records = 4, .words = "too much now",
	  .canned = { { .status = 503, .body = LATER, .header = "Retry-After", .value = "7",
			.path = "/records" } },
	  .goes = ASK S SEND(1, 4) "wait 0 asked 7\nsays away\n" },
	{ .name = "later, and then it goes", .records = 4, .again = 2,
	  .canned = { { .status = 429, .body = LATER, .header = "Retry-After",
			.value = "7", .path = "/head" },
		      { .status = 500, .body = "no", .path = "/records" } },
	  .goes = ASK "wait 0 asked 7\nsays away\n" ASK S SEND(1, 4) "wait 1\nsays away\n"
		  ASK S SEND(1, 4) END(4, 5) DONE },
	{ .name = "cut in the middle: what was receipted is handed over", .records = 10,
	  .canned = { { .status = 500, .body = "no", .path = "/records", .after = 1 } }, .words = "status 500",
	  .goes = ASK S SEND(1, 4) SEND(5, 8) "receipt 4\nwait 0\nsays away\n" },
	{ .name = "the token is not right: a person looks", .records = 4,
	  .words = "the office says: not this bus's token (401)",
	  .canned = { { .status = 401, .body = "{\"error\":\"token\",\"words\":\"not this bus's token\"}",
			.path = "/head" } },
	  .goes = ASK "wait 0 asked 900\nsays refused\n" },
	{ .name = "a person in the office has to decide", .records = 4, .words = "has to decide",
	  .canned = { { .status = 202, .body = "{\"error\":\"waits\",\"words\":\"a person has to decide\"}",
			.path = "/head" } },
	  .goes = ASK "wait 0 asked 900\nsays refused\n" },
	{ .name = "unsound", .records = 4, .words = "line 3",
	  .canned = { { .status = 422, .body = "{\"error\":\"unsound\",\"words\":\"line 3: a seal does not hold\","
			     "\"line\":3}", .path = "/records" } },
	  .goes = ASK S SEND(1, 4) "wait 0 asked 900\nsays refused\n" },
	{ .name = "the writer does not take the receipt", .records = 4, .refuses = true,
	  .words = "the journal is full",
	  .goes = ASK S SEND(1, 4) END(4, 5) "wait 0 asked 900\nsays refused\n" },
};

static void set_scene(struct world *w, const struct story *s)
{
	journal_make(&w->journal, s->records, 0);
	w->writer.first = s->first ? s->first : 1;
	w->writer.sealed = s->records;
	w->writer.receipted = s->receipted;
	w->writer.alert[0] = s->alert;
	w->writer.alerts = s->alert > 0;
	w->writer.refuses = s->refuses;
	again_after = s->again;
	if (s->has)
		office_has(w->office, &w->journal, 1, s->has);
	if (s->other_to) {
		journal_make(&w->other, s->other_to, s->other_from);
		office_has(w->office, &w->other, 1, s->other_to);
	}
	for (size_t i = 0; i < 3 && s->canned[i].status; i++)
		office_can(w->office, s->canned[i]);
}

static void each_story_goes_as_it_should(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(stories) / sizeof(stories[0]); i++) {
		const struct story *s = &stories[i];
		struct world *w = begin();

		set_scene(w, s);
		start(w);
		expect(w, s->name, s->goes);
		if (s->words && !strstr(w->writer.said.words, s->words))
			fail_msg("%s: expected \"%s\" in \"%s\"", s->name, s->words,
				 w->writer.said.words);
		finish(w);
	}
}

/* -- what comes in between --------------------------------------------------------------------- */

static bool asks(const struct pw_hand *h, enum pw_hand_kind kind, uint64_t first)
{
	return h->kind == kind && h->first == first;
}

static void raise_alert(struct writer *w, const struct pw_hand *asked)
{
	if (!asks(asked, PW_H_STRETCH, 5) || w->taken.seq)
		return;
	w->alert[w->alerts++] = 6;
	writer_news(w);
}

/* Between two stretches of a long catch-up, not behind it. */
static void an_alert_does_not_wait_for_the_rest(void **state)
{
	struct world *w = begin();

	(void)state;
	journal_make(&w->journal, 16, 0);
	w->writer.sealed = 16;
	w->writer.between = raise_alert;
	start(w);
	expect(w, "an alert in between", ASK S SEND(1, 4) SEND(5, 8)
	       "alert 6\noffice: alert 6\nreceipt alert 6\nalert 0\n"
	       SEND(9, 12) SEND(13, 16) END(16, 17) DONE);
	assert_true(w->writer.taken.seq == 16);
	finish(w);
}

static void raise_alert_once_done(struct writer *w, const struct pw_hand *asked)
{
	if (asked->kind != PW_H_SAYS || asked->state != PW_D_DONE || w->taken.alert)
		return;
	w->alert[w->alerts++] = 3;
	writer_news(w);
}

static void an_alert_is_sent_at_once(void **state)
{
	struct world *w = begin();

	(void)state;
	journal_make(&w->journal, 4, 0);
	w->writer.sealed = w->writer.receipted = 4;
	w->writer.between = raise_alert_once_done;
	start(w);
	expect(w, "an alert at once", "where\n" DONE "alert 3\noffice: alert 3\nreceipt alert 3\nalert 0\n"
	       "where\n" DONE);
	finish(w);
}

static void seal_more_once_done(struct writer *w, const struct pw_hand *asked)
{
	if (asked->kind != PW_H_SAYS || asked->state != PW_D_DONE || w->sealed == 8)
		return;
	w->sealed = 8;
	writer_news(w);
}

static void what_is_sealed_later_follows(void **state)
{
	struct world *w = begin();

	(void)state;
	journal_make(&w->journal, 8, 0);
	w->writer.sealed = w->writer.receipted = 4;
	office_has(w->office, &w->journal, 1, 4);
	w->writer.between = seal_more_once_done;
	start(w);
	expect(w, "more", "where\n" DONE ASK "hash 4\n" S SEND(5, 8) END(8, 9) DONE);
	finish(w);
}

/* -- the network comes ------------------------------------------------------------------------- */

static int network; /* the kernel's end */

/* As rtnetlink(7) tells it. Only a new address or route is worth a try; what goes is not. */
static void tell_network(uint16_t type)
{
	struct nlmsghdr m = { .nlmsg_len = NLMSG_LENGTH(0), .nlmsg_type = type };

	assert_int_equal(send(network, &m, m.nlmsg_len, 0), m.nlmsg_len);
}

static void come_into_the_yard(struct writer *w, const struct pw_hand *asked)
{
	(void)w;
	if (asked->kind != PW_H_SAYS || asked->state != PW_D_AWAY)
		return;
	again_after = 1;
	tell_network(RTM_DELADDR);
	tell_network(RTM_NEWADDR);
}

/* The next try would be in an hour; with an address it is made at once, as the first one after a stop. */
static void the_network_comes(void **state)
{
	struct world *w = begin();
	int pair[2];

	(void)state;
	assert_int_equal(socketpair(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK, 0, pair), 0);
	journal_make(&w->journal, 4, 0);
	w->writer.sealed = 4;
	w->writer.between = come_into_the_yard;
	office_can(w->office, (struct canned){ .status = 500, .body = "no", .path = "/v1/office" });
	start_with(w, pair[0]);
	network = pair[1];
	expect(w, "the network", "where\noffice: office\nwait 0\nsays away\nwait 0\n"
	       ASK S SEND(1, 4) END(4, 5) DONE);
	tell_network(RTM_NEWROUTE); /* nothing to be sent: nothing is done */
	finish(w);
	close(pair[0]);
	close(pair[1]);
}

/* Sooner, never later; not before the office asked for it; not again and again; not without a reason. */
static void how_soon_the_network_is_tried(void **state)
{
	static const struct pw_uplink_pace quick = { .backoff_ms = note_backoff, .network_ms = 30000 };
	struct world *w = begin();
	struct pw_uplink *u = &w->uplink;
	const int64_t now_ms = clock_ms();

	(void)state;
	u->pace = &quick;
	again_after = 100;
	u->records = (struct pw_turn){ .at_ms = now_ms + LONG_MS, .tries = 9 };
	u->idle = true;
	pw_uplink_hurry(u);
	assert_int_equal(u->records.at_ms, now_ms + LONG_MS);
	u->idle = false;
	pw_uplink_hurry(u);
	assert_in_range(u->records.at_ms, now_ms, now_ms + 10000);
	assert_int_equal(u->records.tries, 0);
	u->records.at_ms = now_ms + LONG_MS;
	pw_uplink_hurry(u);
	assert_in_range(u->records.at_ms, now_ms + 30000, now_ms + 40000);
	u->records = (struct pw_turn){ .at_ms = now_ms + 1, .tries = 9 };
	pw_uplink_hurry(u);
	assert_int_equal(u->records.at_ms, now_ms + 1);
	assert_int_equal(u->records.tries, 9);
	u->network_ms = 0;
	u->records = (struct pw_turn){ .at_ms = now_ms + LONG_MS, .asked_ms = now_ms + 777000 };
	pw_uplink_hurry(u);
	assert_int_equal(u->records.at_ms, now_ms + 777000);
	u->network_ms = 0;
	u->idle = true;
	u->hands.alerts = 1;
	u->alerts = (struct pw_turn){ .at_ms = now_ms + LONG_MS };
	pw_uplink_hurry(u);
	assert_in_range(u->alerts.at_ms, now_ms, now_ms + 10000);
	discard(w);
}

/* -- receipts that are none -------------------------------------------------------------------- */

static void sign_by_another(struct pw_receipt *r, struct office *o)
{
	static const unsigned char seed[32] = "another office";
	struct pw_secret_key key;

	(void)o;
	pw_secret_key_from(seed, &key);
	pw_receipt_sign(r, &key);
}

static void a_receipt_of_another_goes_nowhere(void **state)
{
	struct world *w = begin();

	(void)state;
	journal_make(&w->journal, 8, 0);
	w->writer.sealed = 8;
	w->office->sign = sign_by_another;
	start(w);
	expect(w, "a receipt of another", ASK S SEND(1, 4) "wait 0 asked 900\nsays refused\n");
	assert_non_null(strstr(w->writer.said.words, "not signed by the office"));
	finish(w);
}

/* A writer that gives an alert again and again is not sent with again and again. */
static void forget_receipt(struct writer *w, const struct pw_hand *asked)
{
	if (asked->kind == PW_H_ALERT) {
		w->alerts = 1;
		w->alert[0] = 2;
	}
}

static void an_alert_is_sent_once_a_turn(void **state)
{
	struct world *w = begin();

	(void)state;
	journal_make(&w->journal, 4, 0);
	w->writer.sealed = w->writer.receipted = 4;
	w->writer.alerts = 1;
	w->writer.between = forget_receipt;
	start(w);
	expect(w, "again", "where\nalert 2\noffice: alert 2\nreceipt alert 2\nalert 0\n" DONE);
	finish(w);
}

/* One that the office finds unsound does not keep the other two back. */
static void a_refused_alert_keeps_no_other_back(void **state)
{
	struct world *w = begin();

	(void)state;
	journal_make(&w->journal, 4, 0);
	w->writer.sealed = w->writer.receipted = 4;
	w->writer.alerts = 3;
	for (unsigned i = 0; i < 3; i++)
		w->writer.alert[i] = i + 1;
	office_can(w->office, (struct canned){ .status = 422, .path = "/alert",
			.body = "{\"error\":\"unsound\",\"words\":\"no\"}" });
	again_after = 1;
	start(w);
	expect(w, "one of three", "where\nalert 1\noffice: alert 1\nalert 2\noffice: alert 2\n"
	       "receipt alert 2\nalert 3\noffice: alert 3\nreceipt alert 3\nalert 0\n"
	       "wait alert 0\nsays refused\nalert 1\noffice: alert 1\nreceipt alert 1\nalert 0\n" DONE);
	finish(w);
}

/* -- a writer that is not as it should be ------------------------------------------------------ */

static void a_silent_writer_is_left(void **state)
{
	struct world *w = begin();

	(void)state;
	w->uplink.hands.wait_ms = 1;
	start(w);
	pthread_join(w->thread, NULL); /* nobody answers, and it ends all the same */
	close(w->writer.fd);
	discard(w);
}

/* Too short, too long, of another version, of no kind, with a text that does not end: thrown away. */
static void what_is_no_message_is_thrown_away(void **state)
{
	static const uint8_t kinds[] = { 0, PW_H_NEWS + 1, 200 };
	struct world *w = begin();
	char room[sizeof(struct pw_hand) + 1] = "";
	struct pw_hand h;

	(void)state;
	journal_make(&w->journal, 4, 0);
	w->writer.sealed = 4;
	start(w);
	for (size_t i = 0; i < sizeof(kinds); i++) {
		h = (struct pw_hand){ .kind = kinds[i] };
		writer_send(&w->writer, &h, "a text\n");
	}
	memset(&h, 0xff, sizeof(h));
	h.kind = PW_H_WHERE;
	writer_send(&w->writer, &h, NULL);
	h = (struct pw_hand){ .version = PW_HAND_VERSION + 1, .kind = PW_H_WHERE, .size = sizeof(h) };
	send(w->writer.fd, &h, sizeof(h), MSG_NOSIGNAL);
	send(w->writer.fd, room, 1, MSG_NOSIGNAL);
	send(w->writer.fd, room, sizeof(room), MSG_NOSIGNAL);
	expect(w, "no message", ASK S SEND(1, 4) END(4, 5) DONE);
	finish(w);
}

/* -- whatever happens: at last all of it is there, once, with its receipt ---------------------- */

static uint32_t draw(uint64_t *state, uint32_t below)
{
	*state = *state * 6364136223846793005u + 1442695040888963407u;
	return (uint32_t)(*state >> 33) % below;
}

static uint64_t chance, alerts_raised;

static void seal_more(struct writer *w)
{
	if (w->sealed == w->journal->records)
		return;
	w->sealed = journal_next_seal(w->journal, w->sealed + 1);
	writer_news(w);
}

static void make_trouble(struct writer *w, const struct pw_hand *asked)
{
	static const struct canned troubles[] = {
		{ .status = 500, .body = "no" }, { .status = 503, .body = LATER },
		{ .status = 429, .body = LATER, .header = "Retry-After", .value = "1" },
		{ .status = 200, .body = "{}" }, { .status = 200, .body = "no JSON" },
		{ .status = 401, .body = "{\"error\":\"token\",\"words\":\"no\"}" },
		{ .status = 409, .body = "{\"error\":\"gap\",\"words\":\"no\",\"heads\":[]}",
		  .path = "/records" },
	};

	if (asked->kind == PW_H_SAYS)
		return;
	if (draw(&chance, 6) == 0 && w->office->canned_count < 8)
		office_can(w->office, troubles[draw(&chance, 7)]);
	if (draw(&chance, 8) == 0)
		seal_more(w);
	if (draw(&chance, 10) == 0 && w->alerts < 3 && alerts_raised < 40) {
		w->alert[w->alerts++] = ++alerts_raised;
		writer_news(w);
	}
}

static bool is_over(struct world *w)
{
	return w->writer.sealed == w->journal.records && w->writer.receipted == w->writer.sealed &&
	       w->writer.alerts == 0 && w->writer.said.state == PW_D_DONE;
}

static void play_round(uint64_t seed)
{
	const int64_t until_ms = clock_ms() + DEADLINE_MS;
	struct world *w = begin();
	uint32_t has;

	chance = seed;
	alerts_raised = 0;
	again_after = 1000000;
	journal_make(&w->journal, 40 + draw(&chance, 20), 0);
	w->writer.sealed = EVERY * (1 + draw(&chance, 9));
	has = draw(&chance, 2) ? EVERY * draw(&chance, (uint32_t)w->writer.sealed / EVERY + 1) : 0;
	if (has)
		office_has(w->office, &w->journal, 1, has);
	w->writer.receipted = has && draw(&chance, 2) ? has : 0;
	w->writer.between = make_trouble;
	start(w);
	for (int turns = 0; !is_over(w); turns++) {
		if (turns > 300)
			w->writer.between = NULL;
		if (w->writer.said.state == PW_D_DONE && w->writer.receipted == w->writer.sealed)
			seal_more(&w->writer);
		if (!writer_turn(&w->writer, until_ms) || clock_ms() > until_ms)
			fail_msg("seed %llu: it does not come to an end:\n%s",
				 (unsigned long long)seed, w->office->log);
	}
	assert_int_equal(w->office->chains, 1);
	assert_int_equal(w->office->chain[0].head, w->journal.records);
	for (uint64_t seq = 1; seq <= w->journal.records; seq++)
		assert_string_equal(w->office->chain[0].hash[seq], w->journal.record[seq].hash);
	finish(w);
}

static void troubles_of_all_kinds_lose_nothing(void **state)
{
	uint64_t seed = (uint64_t)time(NULL);

	(void)state;
	print_message("seed %llu\n", (unsigned long long)seed);
	for (int i = 0; i < 40; i++)
		play_round(seed + (uint64_t)i);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_story_goes_as_it_should),
		cmocka_unit_test(an_alert_does_not_wait_for_the_rest),
		cmocka_unit_test(an_alert_is_sent_at_once),
		cmocka_unit_test(what_is_sealed_later_follows),
		cmocka_unit_test(the_network_comes),
		cmocka_unit_test(how_soon_the_network_is_tried),
		cmocka_unit_test(a_receipt_of_another_goes_nowhere),
		cmocka_unit_test(an_alert_is_sent_once_a_turn),
		cmocka_unit_test(a_refused_alert_keeps_no_other_back),
		cmocka_unit_test(a_silent_writer_is_left),
		cmocka_unit_test(what_is_no_message_is_thrown_away),
		cmocka_unit_test(troubles_of_all_kinds_lose_nothing),
	};

	return cmocka_run_group_tests_name("uplink: contacts", tests, NULL, NULL);
}
