/* SPDX-License-Identifier: Apache-2.0 */
/*
 * office.conf, and HTTPS: certificates are made by openssl(1), and curl(1) and openssl(1) ask. RFC
 * 8996: nothing older than TLS 1.2.
 */
#include "office.h"

static void assert_says(const char *text, const char *words)
{
	if (!strstr(text, words))
		fail_msg("expected \"%s\" in: %s", words, text);
}

/* -- office.conf ------------------------------------------------------------------------------- */

static const struct {
	const char *text, *words; /* NULL: it is well */
} confs[] = {
	{ "", NULL },
	{ "# words\n\n[office]\nlisten = 127.0.0.1:0\n[mail]\nserver =\n", NULL },
	{ "[office]\nlisten = [::1]:8443\n", NULL },
	{ "[office]\nlisten = 0.0.0.0:8443\ncertificate = a\nprivate_key = /b\n", NULL },
	{ "[office]\nstore = postgresql://office@/office\n", NULL },
	{ "[tell]\nagain_s = 60\ndigest_hour = 24\n[habit]\nsilent_days = 1\n", NULL },
	{ "listen = 127.0.0.1:1\n", ":1: expected a key of section [office], not \"listen\"" },
	{ "[offices]\n", ":1: expected a section [office]" },
	{ "[office\n", ":1: expected a section [office]" },
	{ "[office]\nlisten\n", ":2: expected [section], key = value or a comment" },
	{ "[office]\n\nport = 3\n", ":3: expected a key of section [office], not \"port\"" },
	{ "[office]\nlisten = localhost:80\n", ":2: expected listen to be ADDRESS:PORT" },
	{ "[office]\nlisten = 127.0.0.1\n", ":2: expected listen to be ADDRESS:PORT" },
	{ "[office]\nlisten = 127.0.0.1:65536\n", ":2: expected listen to be ADDRESS:PORT" },
	{ "[office]\nlisten = ::1:80\n", ":2: expected listen to be ADDRESS:PORT" },
	{ "[office]\nlisten = 127.0.0.1:1\nlisten = 127.0.0.1:1\n", ":3: expected each key once" },
	{ "[office]\nlisten = 0.0.0.0:8443\n", ":2: expected certificate and private_key" },
	{ "[office]\nlisten = 192.0.2.1:8443\n", ":2: expected certificate and private_key" },
	{ "[office]\nlisten = [::]:8443\n", ":2: expected certificate and private_key" },
	{ "[office]\ncertificate = a\n", ":2: expected private_key beside certificate" },
	{ "[office]\nprivate_key = a\n", ":2: expected certificate beside private_key" },
	{ "[office]\nstore = mysql://x\n", ":2: expected store to be postgresql://" },
	{ "[office]\nzone = Nowhere/Atall\n", "Nowhere/Atall" },
	{ "[office]\nzone = ../../etc/passwd\n", "etc/passwd" },
	{ "[mail]\nserver = smtp://mail.example\n", ":2: expected from and to" },
	{ "[mail]\nserver = mail.example\n", ":2: expected server to be smtp://" },
	{ "[webhook]\nurl = http://192.0.2.1/\n", ":2: expected url to be https://" },
	{ "[tell]\nagain_s = 59\n", ":2: expected again_s to be a whole number from 60 to 604800" },
	{ "[tell]\nagain_s = 1h\n", ":2: expected again_s to be a whole number" },
	{ "[tell]\ndigest_hour = 25\n", ":2: expected digest_hour" },
	{ "[tell]\ndigest_hour = -1\n", ":2: expected digest_hour" },
};

static void test_conf(void **state)
{
	struct pw_office o;
	struct office dir;
	char why[320], command[128];

	(void)state;
	office_dir(&dir);
	for (size_t i = 0; i < sizeof(confs) / sizeof(confs[0]); i++) {
		int result;

		office_write(&dir, "office.conf", confs[i].text);
		result = pw_office_open(dir.dir, false, &o, why, sizeof(why));
		if (result == 0)
			pw_office_close(&o);
		if ((result == 0) != (confs[i].words == NULL))
			fail_msg("%s: %d %s", confs[i].text, result, why);
		if (confs[i].words) {
			assert_int_equal(result, -2);
			assert_says(why, confs[i].words);
		}
	}
	office_write(&dir, "office.conf", confs[3].text);
	assert_int_equal(pw_office_open(dir.dir, false, &o, why, sizeof(why)), 0);
	assert_int_equal(pw_office_open(dir.dir, false, &(struct pw_office){ 0 }, why, sizeof(why)),
			 1);
	snprintf(command, sizeof(command), "%s/a",
		 dir.dir); /* of the folder, unless it says otherwise */
	assert_string_equal(o.conf.certificate, command);
	assert_string_equal(o.conf.private_key, "/b");
	pw_office_close(&o);
	snprintf(command, sizeof(command), "rm -rf '%s'", dir.dir);
	assert_int_equal(system(command), 0);
}

/* The example is the defaults, as far as it does not say otherwise. */
static void test_example(void **state)
{
	struct pw_office_conf example;
	char why[240];

	(void)state;
	if (pw_office_conf_load("etc/office.conf", &example, why, sizeof(why)))
		fail_msg("%s", why);
	assert_string_equal(example.listen, "127.0.0.1:8443");
	assert_int_equal(example.digest_hour, 6);
}

/* -- HTTPS ------------------------------------------------------------------------------------- */

static struct office office;

static void make_certificate(const char *name, const char *alg)
{
	int status;
	char *text =
		shell(&status,
		      "cd %s && openssl req -x509 -newkey %s -noenc -keyout %s.key -out %s.crt "
		      "-days 2 -subj /CN=office.example -addext "
		      "subjectAltName=IP:127.0.0.1,DNS:localhost",
		      office.dir, alg, name, name);

	if (status)
		fail_msg("%s", text);
	free(text);
}

static int set_up(void **state)
{
	(void)state;
	office_dir(&office);
	make_certificate("first", "ec -pkeyopt ec_paramgen_curve:P-256");
	make_certificate("second", "rsa:2048");
	return 0;
}

static int tear_down(void **state)
{
	(void)state;
	office_end(&office);
	return 0;
}

static void use(const char *name, const char *listen)
{
	char text[200];
	int status;

	snprintf(text, sizeof(text),
		 "[office]\nlisten = %s\ncertificate = tls.crt\nprivate_key = tls.key\n", listen);
	office_write(&office, "office.conf", text);
	free(shell(&status, "cd %s && cp %s.crt tls.crt && cp %s.key tls.key", office.dir, name,
		   name));
	assert_int_equal(status, 0);
}

/* curl's exit status. */
static int curl(const char *options, const char *path)
{
	int status;
	char *text = shell(&status, "curl -sS %s https://127.0.0.1:%d%s -o %s/got", options,
			   office.port, path, office.dir);

	free(text);
	return status;
}

/* A SHA-256 of the certificate that is shown; to be freed. */
static char *shown(void)
{
	int status;
	char *text = shell(&status,
			   "openssl s_client -connect 127.0.0.1:%d </dev/null 2>/dev/null | "
			   "openssl x509 -noout -fingerprint -sha256",
			   office.port);

	assert_says(text, "ingerprint=");
	return text;
}

static void test_https(void **state)
{
	char options[200];

	(void)state;
	use("first", "0.0.0.0:0");
	assert_true(office_start(&office));
	assert_says(office.said, "listens at https://0.0.0.0:");
	snprintf(options, sizeof(options), "--cacert %s/first.crt", office.dir);
	assert_int_equal(curl(options, "/v1/office"), 0);
	assert_int_equal(curl("", "/v1/office"),
			 60); /* curl(1): the certificate cannot be verified */
	strcat(options, " --tls-max 1.2");
	assert_int_equal(curl(options, "/v1/office"), 0);
	strcpy(strstr(options, "1.2"), "1.1");
	assert_int_equal(curl(options, "/v1/office"), 35); /* curl(1): no TLS connection */
	strcpy(strstr(options, "--tls-max"), "--tlsv1.3");
	assert_int_equal(curl(options, "/v1/office"), 0);
}

/* Plain words to a port of TLS are no request. */
static void test_plain(void **state)
{
	struct answer a = ask(&office, "GET", "/v1/office", "", NULL, 0);

	(void)state;
	assert_int_equal(a.status, 0);
	answer_free(&a);
}

static void wait_for(const char *words)
{
	const int64_t until = office_now_ms() + OFFICE_PATIENCE_MS;
	int status = 1;

	while (status) {
		if (office_now_ms() > until)
			fail_msg("nobody said: %s", words);
		free(shell(&status, "grep -q '%s' %s/err", words, office.dir));
	}
}

/* SIGHUP: the certificate as it is now; where it is none, the old one stays. */
static void test_renewed(void **state)
{
	char *first = shown(), *then;
	int status;

	(void)state;
	use("second", "0.0.0.0:0");
	free(shell(&status, "cd %s && cp first.key tls.key", office.dir));
	kill(office.pid, SIGHUP);
	wait_for("the certificate stays as it was");
	then = shown();
	assert_string_equal(first, then);
	free(then);
	use("second", "0.0.0.0:0");
	kill(office.pid, SIGHUP);
	wait_for("the certificate is read anew");
	then = shown();
	assert_string_not_equal(first, then);
	free(then);
	free(first);
}

static void assert_no_start(const char *name, const char *words)
{
	int status;
	char *text;

	use("first", "127.0.0.1:0");
	free(shell(&status, "cd %s && %s && rm -f err", office.dir, name));
	assert_false(office_start(&office));
	assert_int_equal(office_stop(&office, 0), 2);
	text = shell(&status, "cat %s/err", office.dir);
	assert_says(text, words);
	free(text);
}

static void test_bad_pairs(void **state)
{
	(void)state;
	assert_int_equal(office_stop(&office, SIGTERM), 0);
	assert_no_start("rm tls.key", "tls.key: No such file");
	assert_no_start("echo words >tls.crt", "tls.crt: expected PEM");
	assert_no_start("cp second.key tls.key", "expected a certificate and its private key");
	use("first", "127.0.0.1:0");
	assert_true(office_start(&office));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_conf),
		cmocka_unit_test(test_example),
		cmocka_unit_test(test_https),
		cmocka_unit_test(test_plain),
		cmocka_unit_test(test_renewed),
		cmocka_unit_test(test_bad_pairs),
	};

	return cmocka_run_group_tests(tests, set_up, tear_down);
}
