/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Who is believed to be the office: certificates and pins, by servers with certificates that openssl made
 * (openssl req -x509, openssl ca). TLS 1.2 or newer, as docs/protocol.md has it.
 */
#include "uplink_office.h"

#include <sched.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include "postwalk/delivery.h"

static char dir[64];

__attribute__((format(printf, 1, 2)))
static int shell(const char *format, ...)
{
	char command[2000];
	va_list args;
	int status;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	status = system(command);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}

/* -- certificates ------------------------------------------------------------------------------ */

static const char *const names[] = { "good", "other", "elsewhere", "old", "early" };

/* NAME.key, NAME.pem, and NAME.pin as curl has it (CURLOPT_PINNEDPUBLICKEY(3)). */
static void make_self_signed(const char *name, const char *san)
{
	assert_int_equal(shell("cd %s && openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 "
			       "-nodes -keyout %s.key -out %s.pem -days 30 -subj /CN=%s "
			       "-addext subjectAltName=%s 2>/dev/null", dir, name, name, name, san), 0);
}

/* With dates that openssl req does not take. */
static void make_dated(const char *name, const char *from, const char *to)
{
	assert_int_equal(shell("cd %s && openssl req -new -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes "
			       "-keyout %s.key -out %s.csr -subj /CN=office 2>/dev/null && "
			       "rm -f index.txt && touch index.txt && openssl ca -batch -selfsign -config "
			       "ca.conf -create_serial -notext -keyfile %s.key -in %s.csr -out %s.pem "
			       "-startdate %s -enddate %s 2>/dev/null", dir, name, name, name, name, name,
			       from, to), 0);
}

static void make_pin(const char *name)
{
	assert_int_equal(shell("cd %s && openssl x509 -in %s.pem -pubkey -noout | openssl pkey -pubin "
			       "-outform DER | openssl dgst -sha256 -binary | base64 | tr -d '\\n' >%s.pin",
			       dir, name, name), 0);
}

static int make_certificates(void **state)
{
	(void)state;
	strcpy(dir, "/tmp/postwalk-tls-XXXXXX");
	assert_non_null(mkdtemp(dir));
	assert_int_equal(shell("printf '[ca]\\ndefault_ca=x\\n[x]\\ndatabase=%s/index.txt\\n"
			       "new_certs_dir=%s\\ndefault_md=sha256\\npolicy=p\\nx509_extensions=e\\n"
			       "serial=%s/serial\\n[p]\\ncommonName=supplied\\n[e]\\nsubjectAltName=IP:127.0.0.1\\n"
			       "basicConstraints=CA:TRUE\\n' >%s/ca.conf", dir, dir, dir, dir), 0);
	make_self_signed("good", "IP:127.0.0.1");
	make_self_signed("other", "IP:127.0.0.1");
	make_self_signed("elsewhere", "DNS:office.example");
	make_dated("old", "20200101000000Z", "20200201000000Z");
	make_dated("early", "20900101000000Z", "20910101000000Z");
	for (size_t i = 0; i < sizeof(names) / sizeof(names[0]); i++)
		make_pin(names[i]);
	return 0;
}

static int remove_certificates(void **state)
{
	(void)state;
	return shell("rm -rf %s", dir);
}

static char *read_file(const char *name, const char *end)
{
	char path[100], *text = calloc(1, 16384);
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s.%s", dir, name, end);
	f = fopen(path, "r");
	assert_non_null(f);
	assert_true(fread(text, 1, 16383, f) > 0);
	fclose(f);
	return text;
}

/* -- who is believed --------------------------------------------------------------------------- */

static void set_place(struct pw_place *place, const struct office *o, const char *ca, const char *pin)
{
	*place = (struct pw_place){ .token = TOKEN, .key = o->key.public };
	strcpy(place->url, o->url);
	if (ca)
		snprintf(place->ca, sizeof(place->ca), "%s/%s.pem", dir, ca);
	if (pin) {
		char *text = read_file(pin, "pin");

		snprintf(place->pin, sizeof(place->pin), "sha256//%s", text);
		free(text);
	}
}

static struct office *serve(const char *name)
{
	char *certificate = read_file(name, "pem"), *key = read_file(name, "key");
	struct office *o = office_open_with(certificate, key);

	free(certificate);
	free(key);
	return o;
}

static const struct row {
	const char *served, *ca, *pin;
	bool believed;
	const char *words;
} rows[] = {
	{ "good", "good", NULL, true, "" },
	{ "good", "other", NULL, false, "who answers is not the office: " },
	{ "good", NULL, NULL, false, "who answers is not the office: " }, /* the system's issuers */
	{ "good", NULL, "good", true, "" },
	{ "good", NULL, "other", false, "pinned public key" },
	{ "other", NULL, "good", false, "pinned public key" },
	{ "good", "good", "good", true, "" },
	{ "good", "good", "other", false, "pinned public key" },
	{ "good", "other", "good", false, "who answers is not the office: " }, /* both are asked for */
	{ "elsewhere", "elsewhere", NULL, false, "who answers is not the office: " },
	{ "elsewhere", NULL, "elsewhere", true, "" }, /* the pin alone says which key */
	{ "old", "old", NULL, false, "(or this bus's clock is wrong)" },
	{ "old", NULL, "old", true, "" },
	{ "early", "early", NULL, false, "(or this bus's clock is wrong)" },
};

static void each_server_is_judged(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		const struct row *r = &rows[i];
		struct office *o = serve(r->served);
		struct pw_place place;
		struct pw_reply reply;
		struct pw_link *link;
		char why[300];

		set_place(&place, o, r->ca, r->pin);
		assert_int_equal(pw_link_open(&place, &pw_patience, &link, why, sizeof(why)), 0);
		pw_link_heads(link, BUS, EPOCH, &reply);
		if (reply.said != (r->believed ? PW_SAID_SO : PW_SAID_STRANGER)
		    || !strstr(reply.why, r->words))
			fail_msg("row %zu: %d \"%s\"", i, reply.said, reply.why);
		assert_int_equal(o->log[0] != '\0', r->believed); /* nothing was asked of a stranger */
		pw_link_close(link);
		office_close(o);
	}
}

/* -- the system's issuers -------------------------------------------------------------------------- */

static enum pw_said ask_with(const struct office *o, const char *ca)
{
	struct pw_place place;
	struct pw_reply reply = { .said = 0 };
	struct pw_link *link;
	char why[300];

	set_place(&place, o, ca, NULL);
	if (pw_link_open(&place, &pw_patience, &link, why, sizeof(why)) == 0)
		pw_link_heads(link, BUS, EPOCH, &reply);
	pw_link_close(link);
	return reply.said;
}

/* With a system that trusts "good", by a bundle and by a hashed folder as Debian has both. 0: as it
 * should be; 77: this process may have no mounts of its own. */
static int ask_in_such_a_system(const struct office *o)
{
	char system[100];

	snprintf(system, sizeof(system), "%s/system", dir);
	if (unshare(CLONE_NEWNS) < 0 || mount(NULL, "/", NULL, MS_REC | MS_PRIVATE, NULL) < 0)
		return 77;
	if (shell("mkdir %s && cp %s/good.pem %s && cp %s/good.pem %s/ca-certificates.crt && "
		  "openssl rehash %s 2>/dev/null", system, dir, system, dir, system, system))
		return 1;
	if (mount(system, "/etc/ssl/certs", NULL, MS_BIND, NULL) < 0)
		return 77;
	if (ask_with(o, NULL) != PW_SAID_SO)
		return 2;
	return ask_with(o, "other") == PW_SAID_STRANGER ? 0 : 3; /* those of ca alone */
}

static void the_system_s_issuers_or_those_of_ca(void **state)
{
	struct office *o = serve("good");
	int status;
	pid_t pid = fork();

	(void)state;
	if (pid == 0)
		_exit(ask_in_such_a_system(o));
	assert_int_equal(waitpid(pid, &status, 0), pid);
	office_close(o);
	if (WIFEXITED(status) && WEXITSTATUS(status) == 77)
		skip();
	assert_int_equal(status, 0);
}

/* The token and the code go to the office and to nobody else. */
static void nobody_enrols_with_a_stranger(void **state)
{
	struct office *o = serve("good");
	struct journal j;
	struct pw_place place;
	struct pw_reply reply;

	(void)state;
	journal_make(&j, 1, 0);
	set_place(&place, o, NULL, "other");
	place.token[0] = '\0';
	pw_link_enrol(&place, BUS, CODE, &j.key, NULL, &reply);
	assert_int_equal(reply.said, PW_SAID_STRANGER);
	assert_string_equal(o->log, "");
	set_place(&place, o, NULL, "good");
	pw_link_enrol(&place, BUS, CODE, &j.key, NULL, &reply);
	assert_int_equal(reply.said, PW_SAID_SO);
	assert_string_equal(place.token, TOKEN);
	office_close(o);
}

static void certificates_that_are_none(void **state)
{
	static const char *const texts[] = {
		"", "no certificate\n",
		"-----BEGIN CERTIFICATE-----\nno base64\n-----END CERTIFICATE-----\n",
	};
	struct office *o = serve("good");
	struct pw_place place;
	struct pw_reply reply;
	struct pw_link *link;
	char why[600], path[100];

	(void)state;
	snprintf(path, sizeof(path), "%s/none.pem", dir);
	for (size_t i = 0; i < 3; i++) {
		FILE *f = fopen(path, "w");

		fputs(texts[i], f);
		fclose(f);
		set_place(&place, o, "none", NULL);
		if (pw_link_open(&place, &pw_patience, &link, why, sizeof(why)) < 0) {
			assert_non_null(strstr(why, "none.pem: expected certificates as PEM"));
			continue;
		}
		pw_link_heads(link, BUS, EPOCH, &reply);
		assert_int_equal(reply.said, PW_SAID_STRANGER);
		pw_link_close(link);
	}
	set_place(&place, o, "not-there", NULL);
	assert_int_equal(pw_link_open(&place, &pw_patience, &link, why, sizeof(why)), -1);
	assert_non_null(strstr(why, "No such file"));
	office_close(o);
}

/* -- versions of TLS: openssl s_server speaks one of them alone -------------------------------- */

static pid_t start_server(const char *version, FILE **said)
{
	int ends[2];
	pid_t pid;

	assert_int_equal(pipe(ends), 0);
	pid = fork();
	assert_true(pid >= 0);
	if (pid == 0) {
		prctl(PR_SET_PDEATHSIG, SIGKILL);
		dup2(ends[1], 1);
		dup2(ends[1], 2);
		close(ends[0]);
		if (chdir(dir) == 0)
			execlp("openssl", "openssl", "s_server", "-accept", "127.0.0.1:0", "-cert",
			       "good.pem", "-key", "good.key", "-www", "-cipher", "ALL:@SECLEVEL=0",
			       version, (char *)NULL);
		_exit(127);
	}
	close(ends[1]);
	*said = fdopen(ends[0], "r");
	assert_non_null(*said);
	return pid;
}

/* -www answers with a page: no office, and yet the handshake was made. */
static void ask_version(const char *version, enum pw_said said_wanted, const char *words)
{
	struct pw_place place = { .token = TOKEN };
	struct pw_reply reply;
	struct pw_link *link;
	char why[300], line[200];
	int port = 0;
	FILE *said;
	pid_t pid = start_server(version, &said);

	while (!port && fgets(line, sizeof(line), said))
		sscanf(line, "ACCEPT 127.0.0.1:%d", &port);
	assert_true(port > 0);
	snprintf(place.url, sizeof(place.url), "https://127.0.0.1:%d", port);
	snprintf(place.ca, sizeof(place.ca), "%s/good.pem", dir);
	assert_int_equal(pw_link_open(&place, &pw_patience, &link, why, sizeof(why)), 0);
	pw_link_heads(link, BUS, EPOCH, &reply);
	pw_link_close(link);
	kill(pid, SIGKILL);
	assert_int_equal(waitpid(pid, NULL, 0), pid);
	fclose(said);
	if (reply.said != said_wanted || !strstr(reply.why, words))
		fail_msg("%s: %d \"%s\"", version, reply.said, reply.why);
}

static void old_tls_is_not_spoken(void **state)
{
	(void)state;
	ask_version("-tls1_3", PW_SAID_REFUSED, "cannot be understood");
	ask_version("-tls1_2", PW_SAID_REFUSED, "cannot be understood");
	ask_version("-tls1_1", PW_SAID_LATER, "not reached");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_server_is_judged),
		cmocka_unit_test(the_system_s_issuers_or_those_of_ca),
		cmocka_unit_test(nobody_enrols_with_a_stranger),
		cmocka_unit_test(certificates_that_are_none),
		cmocka_unit_test(old_tls_is_not_spoken),
	};

	return cmocka_run_group_tests_name("uplink: certificates and pins", tests, make_certificates,
					   remove_certificates);
}
