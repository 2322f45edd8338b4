/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A real office is killed, again and again, around what it tells: nothing that it gave a receipt for
 * is forgotten, and what comes twice says so by its id.
 */
#include "tell_help.h"

#include "office.h"

#define ROUNDS 12

static struct office office;
static struct bus bus;
static struct made journal;
static struct server web;

struct heard {
	uint64_t seq;
	unsigned times;
	char id[PW_NEWS_ID_MAX];
};

static int set_up(void **state)
{
	const char *const argv[] = { "/usr/bin/python3", "tests/office/web_receiver.py", folder,
				     NULL };
	char conf[300], path[100];

	assert_int_equal(make_folder(state), 0);
	put_file("secret", "a secret of the yard, in a file\n");
	start_server(&web, argv);
	hear_port(&web);
	snprintf(path, sizeof(path), "%s/secret", folder);
	snprintf(conf, sizeof(conf), "zone = America/Chicago\n[webhook]\nsecret_file = %s\n"
		 "url = http://127.0.0.1:%d/200\n[tell]\ndigest_hour = 24\n", path, web.port);
	office_begin(&office, conf);
	bus_enrol(&office, &bus, "14", 14);
	made_begin(&journal, "14", "0123456789abcdef", 14);
	return 0;
}

static int tear_down(void **state)
{
	office_end(&office);
	end_server(&web);
	return remove_folder(state);
}

/* A walk finds a child: the record is sent at once, and there is a receipt for it. */
static uint64_t alert(void)
{
	struct text t;
	struct answer a;

	made_add(&journal, PW_K_FOUND, "{\"what\":\"child\",\"part\":\"none\",\"id\":0,\"t0_ms\":1,"
		 "\"who\":\"d-12\",\"words\":\"\",\"rung\":\"office\"}");
	t = made_text(&journal, journal.records, journal.records);
	a = bus_ask(&office, &bus, "POST", "alert?nonce=" NONCE, "", t.at, t.length);
	assert_receipt(&office, &a, &journal.record[journal.records], true);
	answer_free(&a);
	free(t.at);
	return journal.records;
}

/* The next webhook. What comes again is the same telling. */
static const struct heard *hear_one(struct heard all[])
{
	char line[8192], path[100];
	json_t *request, *body;
	struct heard *h;

	hear(&web, line, sizeof(line));
	request = parsed(line);
	snprintf(path, sizeof(path), "%s/%d.body", folder,
		 (int)json_integer_value(json_object_get(request, "number")));
	body = json_load_file(path, 0, NULL);
	assert_non_null(body);
	h = &all[json_integer_value(json_object_get(body, "seq"))];
	assert_string_equal(text_of(body, "kind"), "child");
	assert_int_equal(json_integer_value(json_object_get(body, "telling")), 1);
	if (h->times++ == 0)
		snprintf(h->id, sizeof(h->id), "%s", text_of(body, "id"));
	assert_string_equal(text_of(body, "id"), h->id);
	json_decref(body);
	json_decref(request);
	return h;
}

static void kill_and_start(void)
{
	assert_int_equal(office_stop(&office, SIGKILL), 128 + SIGKILL);
	assert_true(office_start(&office));
}

/* Killed as soon as the bus has its receipt, or as soon as the receiver has the webhook. */
static void test_killed(void **state)
{
	struct heard all[ROUNDS + 2] = { { .times = 0 } };
	unsigned times = 0;
	uint64_t seq;

	(void)state;
	for (unsigned round = 0; round < ROUNDS; round++) {
		seq = alert();
		while (round % 2 == 0 && all[seq].times == 0)
			hear_one(all);
		kill_and_start();
		while (all[seq].times == 0)
			hear_one(all);
	}
	seq = alert(); /* whatever was to come again has come when this one has */
	while (all[seq].times == 0)
		hear_one(all);
	for (seq = 1; seq <= ROUNDS + 1; seq++) {
		assert_true(all[seq].times >= 1);
		times += all[seq].times;
	}
	print_message("%u matters told %u times over %u kills\n", ROUNDS + 1, times, ROUNDS);
	assert_true(times <= ROUNDS + 1 + ROUNDS);
}

/* An orderly stop tells nothing twice. */
static void test_stopped(void **state)
{
	struct heard all[ROUNDS + 4] = { { .times = 0 } };
	uint64_t seq;

	(void)state;
	for (unsigned round = 0; round < 2; round++) {
		seq = alert();
		assert_int_equal(hear_one(all)->times, 1);
		assert_int_equal(all[seq].times, 1);
		assert_int_equal(office_stop(&office, SIGTERM), 0);
		assert_true(office_start(&office));
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_killed),
		cmocka_unit_test(test_stopped),
	};

	if (begin_tests() != 0)
		return 1;
	return cmocka_run_group_tests(tests, set_up, tear_down);
}
