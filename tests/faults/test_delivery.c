/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The whole way: the real watch on the bench board, the real uplink, the real office behind TLS. A run whose
 * walk is not made: the office hears of it while the alarm still sounds, and in the end it has every record
 * that the journal has sealed, and the journal has its receipt. The office is $POSTWALK_OFFICE.
 */
#include "look.h"

#include <fcntl.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>

#define NEWS_MS 3000 /* an alert is in the office by then, by the contact that is there */
#define BUS "bus-9"

struct way {
	struct world *world;
	char dir[96], url[64], key[65], code[32];
	pid_t office, uplink;
};

static const char *program(const char *variable, const char *otherwise)
{
	const char *path = getenv(variable);

	return path && path[0] ? path : otherwise;
}

#define OFFICE program("POSTWALK_OFFICE", "build/postwalk-office")
#define TOOL program("POSTWALK", "build/postwalk")

static pid_t run(const char *said, const char *const argv[])
{
	pid_t pid = fork();

	assert_true(pid >= 0);
	if (pid == 0) {
		int fd = open(said, O_WRONLY | O_CREAT | O_TRUNC, 0600);

		prctl(PR_SET_PDEATHSIG, SIGKILL);
		dup2(fd, 1);
		dup2(fd, 2);
		execv(argv[0], (char *const *)(uintptr_t)argv);
		_exit(127);
	}
	return pid;
}

/* Asks a shell again and again, while the world goes on. */
__attribute__((format(printf, 3, 4)))
static void until(struct way *y, int64_t within_ms, const char *format, ...)
{
	const int64_t end_ms = now_ms() + within_ms;
	char command[800];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	while (shell("%s", command) != 0) {
		if (now_ms() > end_ms)
			fail_msg("not so within %d ms: %s", (int)within_ms, command);
		world_until(y->world, now_ms() + 50);
	}
}

/* -- an office --------------------------------------------------------------------------------- */

static void make_office(struct way *y)
{
	snprintf(y->dir, sizeof(y->dir), "%s/office", y->world->dir);
	assert_int_equal(shell("mkdir -m 700 %s && cd %s && openssl req -x509 -newkey ec -pkeyopt "
			       "ec_paramgen_curve:P-256 -nodes -days 2 -subj /CN=office -keyout tls.key "
			       "-out tls.crt 2>/dev/null && printf '[office]\\nlisten = 127.0.0.1:0\\n"
			       "certificate = tls.crt\\nprivate_key = tls.key\\n' >office.conf", y->dir,
			       y->dir), 0);
}

static void start_office(struct way *y)
{
	char said[128], line[300] = "";
	FILE *f;

	snprintf(said, sizeof(said), "%s/said", y->dir);
	y->office = run(said, (const char *const[]){ OFFICE, "serve", "--office", y->dir, NULL });
	until(y, PATIENCE_MS, "grep -q listens %s", said);
	f = fopen(said, "r");
	assert_non_null(f);
	while (!strstr(line, "listens") && fgets(line, sizeof(line), f))
		;
	fclose(f);
	assert_int_equal(sscanf(strstr(line, "https://"), "%63[^;]; key %64s", y->url, y->key), 2);
}

static void end(pid_t *pid)
{
	int status;

	if (*pid <= 0)
		return;
	kill(*pid, SIGTERM);
	assert_int_equal(waitpid(*pid, &status, 0), *pid);
	assert_int_equal(status, 0);
	*pid = 0;
}

/* By the pin of a certificate that nobody has signed: such an office needs no authority. */
static void enrol(struct way *y)
{
	assert_int_equal(shell("%s enrol " BUS " --office %s | awk 'NR == 2 { print $2 }' >%s/code",
			       OFFICE, y->dir, y->dir), 0);
	assert_int_equal(shell("openssl x509 -in %s/tls.crt -pubkey -noout | openssl pkey -pubin -outform "
			       "DER | openssl dgst -sha256 -binary | base64 >%s/pin", y->dir, y->dir), 0);
	assert_int_equal(shell("%s enrol --state %s --to %s --code $(cat %s/code) --office %s "
			       "--pin sha256//$(cat %s/pin) >%s/enrolled", TOOL, y->world->state, y->url,
			       y->dir, y->key, y->dir, y->dir), 0);
	/* both fingerprints: the office's as it says itself, the bus's by openssl */
	assert_int_equal(shell("grep -q %s %s/enrolled && grep -q $(openssl pkey -pubin -in %s/bus.pub "
			       "-outform DER | sha256sum | cut -c 1-64) %s/enrolled", y->key, y->dir,
			       y->world->state, y->dir), 0);
}

static void start_uplink(struct way *y)
{
	char said[128];

	snprintf(said, sizeof(said), "%s/uplink", y->dir);
	y->uplink = run(said, (const char *const[]){ TOOL, "uplink", "--state", y->world->state, NULL });
}

/* -- how delivery stands, on the page ---------------------------------------------------------- */

static bool stands(struct way *y, const char *state)
{
	json_t *status = world_status(y->world), *delivery = json_object_get(status, "delivery");
	const char *now = json_string_value(json_object_get(delivery, "state"));
	bool so = now && strcmp(now, state) == 0;

	json_decref(status);
	return so;
}

static void until_stands(struct way *y, const char *state)
{
	const int64_t end_ms = now_ms() + PATIENCE_MS;

	while (!stands(y, state))
		if (now_ms() > end_ms)
			fail_msg("delivery does not come to stand at %s", state);
}

/* -- receipts, by openssl ---------------------------------------------------------------------- */

/* The seven lines of docs/protocol.md, put together here, against the office's key in the state folder. */
static void openssl_believes(struct way *y, const char *kind, const char *body, const char *seq_key)
{
	json_t *receipt = json_loads(body, 0, NULL);
	struct pw_journal *j = look_open(y->world);
	struct pw_record r;
	char why[200], path[128];
	FILE *f;

	assert_non_null(receipt);
	assert_int_equal(pw_journal_read(j, 1, &r, why, sizeof(why)), 1);
	snprintf(path, sizeof(path), "%s/text", y->dir);
	f = fopen(path, "w");
	assert_non_null(f);
	fprintf(f, "%s\n" BUS "\n%s\n%lld\n%s\n%lld\n%s\n", kind, r.epoch,
		(long long)json_integer_value(json_object_get(receipt, seq_key)),
		json_string_value(json_object_get(receipt, "hash")),
		(long long)json_integer_value(json_object_get(receipt, "time_ms")),
		json_string_value(json_object_get(receipt, "nonce")));
	assert_int_equal(fclose(f), 0);
	assert_int_equal(shell("cd %s && printf %s | tr a-f A-F | basenc -d --base16 >sig && openssl pkeyutl -verify "
			       "-pubin -inkey %s/office.pub -rawin -in text -sigfile sig >/dev/null", y->dir,
			       json_string_value(json_object_get(receipt, "sig")), y->world->state), 0);
	pw_journal_close(j);
	json_decref(receipt);
}

static void receipts_hold(struct way *y)
{
	char body[1024] = "";
	unsigned n = look_for(y->world, PW_K_RECEIPT, "{\"seq\":", 1, body, sizeof(body));

	assert_true(n >= 1);
	openssl_believes(y, "postwalk-receipt-v1", body, "seq");
	assert_int_equal(look_for(y->world, PW_K_RECEIPT, "{\"alert\":", 1, body, sizeof(body)), 1);
	openssl_believes(y, "postwalk-alert-v1", body, "alert");
}

/* -- the story --------------------------------------------------------------------------------- */

static void walk_it(struct world *w)
{
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 500);
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 500);
}

/* What the office has is what the journal has, from its first record on, and sound by the bus's own key. */
static void the_office_has_it_all(struct way *y)
{
	const char *state = y->world->state, *dir = y->dir;

	assert_int_equal(shell("%s export " BUS " --office %s >%s/has.jsonl", OFFICE, dir, dir), 0);
	assert_int_equal(shell("%s verify --key %s/bus.pub %s/has.jsonl >%s/verdict", TOOL, state, dir, dir), 0);
	assert_int_equal(shell("%s export %s | grep '^{\"seq\"' >%s/here", TOOL, state, dir), 0);
	assert_int_equal(shell("cd %s && grep '^{\"seq\"' has.jsonl >there && head -n $(wc -l <there) here | cmp - there",
			       dir), 0);
	assert_int_equal(shell("grep -q '\"kind\":\"sweep\"' %s/there", dir), 0);
}

static void a_walk_not_made_is_heard_of_in_the_office(void **state)
{
	struct world *w = *state;
	struct way y = { .world = w };

	make_office(&y);
	start_office(&y);
	world_start(w);
	enrol(&y);
	start_uplink(&y);
	until_stands(&y, "done");
	/* the rung `office` comes 4 s behind the first: an alert, while nothing of the run is over */
	world_overdue(w);
	world_says(w, "rung office", NULL, now_ms() + PATIENCE_MS);
	until(&y, NEWS_MS, "%s matters --office %s | grep -q " BUS, OFFICE, y.dir);
	assert_true(world_level(w, "horn") >= 0);
	walk_it(w);
	page_settles(w);
	until_stands(&y, "done");
	end(&y.uplink);
	assert_int_equal(world_stop(w), 0);
	the_office_has_it_all(&y);
	receipts_hold(&y);
	end(&y.office);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(a_walk_not_made_is_heard_of_in_the_office),
	};

	return cmocka_run_group_tests_name("delivery, the whole way", tests, NULL, NULL);
}
