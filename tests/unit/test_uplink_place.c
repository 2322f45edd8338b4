/* SPDX-License-Identifier: Apache-2.0 */
/* STATE/office.conf: what is kept is read back, is there whole or not at all, and bad input is told. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "postwalk/delivery.h"

#define TOKEN "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"
#define PIN "sha256//AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="

struct folder {
	char dir[64];
	char why[600];
	struct pw_place place, read;
};

static int begin(void **state)
{
	static const unsigned char seed[32] = "the office of a made-up yard";
	struct folder *f = calloc(1, sizeof(*f));
	struct pw_secret_key key;

	assert_non_null(f);
	umask(022);
	strcpy(f->dir, "/tmp/postwalk-place-XXXXXX");
	assert_non_null(mkdtemp(f->dir));
	pw_secret_key_from(seed, &key);
	f->place = (struct pw_place){ .url = "https://office.example:8443", .token = TOKEN,
				      .key = key.public };
	*state = f;
	return 0;
}

static int end(void **state)
{
	struct folder *f = *state;
	char command[100];

	snprintf(command, sizeof(command), "rm -rf '%s'", f->dir);
	assert_int_equal(system(command), 0);
	free(f);
	return 0;
}

static const char *path(const struct folder *f, const char *name)
{
	static char paths[8][128];
	static unsigned turn;
	char *p = paths[turn++ % 8];

	snprintf(p, sizeof(paths[0]), "%s/%s", f->dir, name);
	return p;
}

static void write_file(const char *at, const char *text)
{
	FILE *file = fopen(at, "w");

	assert_non_null(file);
	fputs(text, file);
	assert_int_equal(fclose(file), 0);
}

static int load(struct folder *f)
{
	f->why[0] = '\0';
	return pw_place_load(f->dir, &f->read, f->why, sizeof(f->why));
}

static void save(struct folder *f)
{
	assert_int_equal(pw_place_save(f->dir, &f->place, f->why, sizeof(f->why)), 0);
}

static void assert_mode(const struct folder *f, const char *name, mode_t mode)
{
	struct stat s;

	assert_int_equal(stat(path(f, name), &s), 0);
	assert_int_equal(s.st_mode & 07777, mode);
}

/* -- kept and read ----------------------------------------------------------------------------- */

static void not_enrolled_yet(void **state)
{
	struct folder *f = *state;

	assert_int_equal(load(f), 1);
	assert_int_equal(pw_place_load("/tmp/there-is-no-such-folder", &f->read, f->why,
				       sizeof(f->why)), -1);
	assert_non_null(strstr(f->why, "No such file"));
}

static void kept_and_read(void **state)
{
	struct folder *f = *state;

	save(f);
	assert_int_equal(load(f), 0);
	assert_string_equal(f->read.url, f->place.url);
	assert_string_equal(f->read.token, TOKEN);
	assert_string_equal(f->read.ca, "");
	assert_string_equal(f->read.pin, "");
	assert_memory_equal(&f->read.key, &f->place.key, sizeof(f->read.key));
	assert_mode(f, "office.conf", 0640); /* the token is nobody else's */
	assert_mode(f, "office.pub", 0644);
	assert_int_equal(access(path(f, "office-ca.pem"), F_OK), -1);
}

#define CERTIFICATE "-----BEGIN CERTIFICATE-----\nMIIB\n-----END CERTIFICATE-----\n"

/* The file that the installer named may go: there is a copy. */
static void with_certificates_and_pin(void **state)
{
	struct folder *f = *state;
	char text[200] = "";
	FILE *file;

	write_file(path(f, "installers.pem"), CERTIFICATE);
	snprintf(f->place.ca, sizeof(f->place.ca), "%s", path(f, "installers.pem"));
	strcpy(f->place.pin, PIN);
	save(f);
	unlink(path(f, "installers.pem"));
	assert_int_equal(load(f), 0);
	assert_string_equal(f->read.pin, PIN);
	assert_string_equal(f->read.ca, path(f, "office-ca.pem"));
	file = fopen(f->read.ca, "r");
	assert_non_null(file);
	assert_true(fread(text, 1, sizeof(text) - 1, file) > 0);
	fclose(file);
	assert_string_equal(text, CERTIFICATE);
	assert_mode(f, "office-ca.pem", 0644);
	f->place.ca[0] = '\0'; /* and enrolled anew without */
	save(f);
	assert_int_equal(load(f), 0);
	assert_string_equal(f->read.ca, "");
	assert_int_equal(access(path(f, "office-ca.pem"), F_OK), -1);
}

/* RFC 8410, by openssl: the public key beside it is one. */
static void openssl_reads_the_key(void **state)
{
	struct folder *f = *state;
	char command[300], print[65], said[65] = "";
	FILE *openssl;

	save(f);
	pw_public_key_print(&f->place.key, print);
	snprintf(command, sizeof(command), "openssl pkey -pubin -in %s -outform DER | sha256sum | "
		 "cut -c 1-64 | tr -d '\\n'", path(f, "office.pub"));
	openssl = popen(command, "r");
	assert_true(openssl && fread(said, 1, 64, openssl) == 64);
	pclose(openssl);
	assert_string_equal(said, print);
}

static void other_keys_show(void **state)
{
	static const unsigned char seed[32] = "another office";
	struct folder *f = *state;
	struct pw_secret_key other;
	char pem[PW_PEM_MAX];

	save(f);
	pw_secret_key_from(seed, &other);
	pw_public_key_pem(&other.public, pem);
	write_file(path(f, "office.pub"), pem);
	assert_int_equal(load(f), -2);
	assert_non_null(strstr(f->why, "it is not the key that office.conf names: enrol the bus again"));
	unlink(path(f, "office.pub"));
	assert_int_equal(load(f), -1);
	write_file(path(f, "office.pub"), "no key\n");
	assert_int_equal(load(f), -2);
}

/* A folder that cannot be written: nothing is enrolled, and it is told. */
static void nowhere_to_keep_it(void **state)
{
	struct folder *f = *state;

	assert_int_equal(mkdir(path(f, "office.conf"), 0755), 0);
	assert_int_equal(mkdir(path(f, "office.conf/x"), 0755), 0);
	assert_int_equal(pw_place_save(f->dir, &f->place, f->why, sizeof(f->why)), -1);
	assert_non_null(strstr(f->why, "cannot be kept"));
	assert_int_equal(access(path(f, "office.conf.new"), F_OK), -1);
}

/* -- what is typed by hand --------------------------------------------------------------------- */

#define URL "url = https://office.example\n"
#define REST "token = " TOKEN "\nkey = " TOKEN "\n"

static void bad_lines_are_told(void **state)
{
	static const struct { const char *text, *words; } rows[] = {
		{ "", ": expected url = https://HOST[:PORT]" },
		{ URL, ": expected token = 64 digits of 0-9 a-f" },
		{ URL "token = " TOKEN "\n", ": expected key = the fingerprint of office.pub" },
		{ URL "\n# a remark\nnonsense\n", ":4: expected KEY = VALUE" },
		{ URL "colour = red\n", ":2: expected url, ca, pin, token or key" },
		{ URL URL, ":2: expected each key once" },
		{ "url = http://office.example\n" REST, ":1: expected https://HOST[:PORT]" },
		{ "url =\n" REST, ":1: expected https://HOST[:PORT]" },
		{ URL "ca =\n" REST, ":2: expected a file of certificates" },
		{ URL "pin = " TOKEN "\n" REST, ":2: expected sha256// and the base64" },
		{ URL "pin = sha256//AAEC\n" REST, ":2: expected sha256// and the base64" },
		{ URL "token = 12\n", ":2: expected 64 digits" },
		{ URL "token = 00112233445566778899AABBCCDDEEFF00112233445566778899aabbccddeeff\n",
		  ":2: expected 64 digits" },
		{ URL "token = " TOKEN "0\n", ":2: expected 64 digits" },
	};
	struct folder *f = *state;

	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		write_file(path(f, "office.conf"), rows[i].text);
		assert_int_equal(load(f), -2);
		if (!strstr(f->why, rows[i].words) || strncmp(f->why, f->dir, strlen(f->dir)) != 0)
			fail_msg("row %zu: \"%s\"", i, f->why);
		assert_null(strchr(f->why, '\n'));
	}
}

static void what_is_no_text_is_told(void **state)
{
	struct folder *f = *state;
	char *large = malloc(8001);

	memset(large, '#', 8000);
	large[8000] = '\0';
	write_file(path(f, "office.conf"), large);
	assert_int_equal(load(f), -2);
	assert_non_null(strstr(f->why, "a text of less than 4096 bytes"));
	free(large);
}

static void spaces_and_remarks_are_fine(void **state)
{
	struct folder *f = *state;
	char text[600], print[65];

	save(f);
	pw_public_key_print(&f->place.key, print);
	snprintf(text, sizeof(text), "  # by hand\r\n\r\nkey=%s\r\n\turl =  https://[2001:db8::7]  \n"
		 "token = " TOKEN, print);
	write_file(path(f, "office.conf"), text);
	assert_int_equal(load(f), 0);
	assert_string_equal(f->read.url, "https://[2001:db8::7]");
}

/* -- addresses --------------------------------------------------------------------------------- */

static void addresses(void **state)
{
	static const struct { const char *url; bool fine; } rows[] = {
		{ "https://office.example", true },      { "https://office.example/", true },
		{ "https://office.example:8443", true }, { "https://192.0.2.7", true },
		{ "https://[2001:db8::7]:443", true },   { "http://127.0.0.1:8080", true },
		{ "http://127.7.0.1", true },            { "http://localhost:1", true },
		{ "http://[::1]:8080", true },           { "HTTPS://OFFICE.EXAMPLE", true },
		{ "http://office.example", false },      { "http://192.0.2.7", false },
		{ "http://128.0.0.1", false },           { "http://127.example", false },
		{ "http://localhost.example", false },   { "http://[::2]", false },
		{ "http://10.0.0.1@127.0.0.1.example", false },
		{ "ftp://office.example", false },       { "file:///etc/passwd", false },
		{ "office.example", false },             { "", false },
		{ "https://", false },                   { "https://office.example/v1", false },
		{ "https://office.example?x=1", false }, { "https://office.example#x", false },
		{ "https://a:b@office.example", false }, { "https://a@office.example", false },
		{ "https://office example", false },     { "https://office.example:99999", false },
		{ "https://office.example:x", false },   { "https://office.example\n", false },
	};
	struct folder *f = *state;

	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		strcpy(f->place.url, rows[i].url);
		f->why[0] = '\0';
		if (pw_place_check(&f->place, f->why, sizeof(f->why)) != (rows[i].fine ? 0 : -2))
			fail_msg("%s: \"%s\"", rows[i].url, f->why);
		if (!rows[i].fine && !strstr(f->why, "expected https://HOST[:PORT]"))
			fail_msg("%s: \"%s\"", rows[i].url, f->why);
		assert_null(strchr(f->why, '\n'));
	}
}

static void pins(void **state)
{
	struct folder *f = *state;

	strcpy(f->place.pin, PIN);
	assert_int_equal(pw_place_check(&f->place, f->why, sizeof(f->why)), 0);
	strcpy(f->place.pin, "sha256//AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8");
	assert_int_equal(pw_place_check(&f->place, f->why, sizeof(f->why)), -2);
	assert_non_null(strstr(f->why, "expected a pin, sha256// and the base64 of a SHA-256"));
	strcpy(f->place.pin, PIN ";" );
	assert_int_equal(pw_place_check(&f->place, f->why, sizeof(f->why)), -2);
}

/* -- words ------------------------------------------------------------------------------------- */

#include "../../daemon/uplink/uplink_internal.h"

static void words_of_others_are_made_plain(void **state)
{
	static const struct { const char *from, *to; } rows[] = {
		{ "", "" }, { "plain", "plain" }, { "a\nb\tc\x7f", "a?b?c?" }, { "\x1b[2J", "?[2J" },
		{ "caf\xc3\xa9", "caf\xc3\xa9" }, { "\xc2\x9b""2J", "?2J" },
		{ "\xff\xfe", "??" }, { "cut\xe2\x82", "cut??" }, { "\xf0\x9f\x9a\x8c", "\xf0\x9f\x9a\x8c" },
	};
	char text[64];

	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		strcpy(text, rows[i].from);
		pw_plain(text);
		assert_string_equal(text, rows[i].to);
	}
	pw_fit(text, 5, "caf\xc3\xa9s");
	assert_string_equal(text, "caf");
	pw_fit(text, 6, "caf\xc3\xa9s");
	assert_string_equal(text, "caf\xc3\xa9");
	pw_fit(text, 1, "x");
	assert_string_equal(text, "");
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)
	const struct CMUnitTest tests[] = {
		TEST(not_enrolled_yet),
		TEST(kept_and_read),
		TEST(with_certificates_and_pin),
		TEST(openssl_reads_the_key),
		TEST(other_keys_show),
		TEST(nowhere_to_keep_it),
		TEST(bad_lines_are_told),
		TEST(what_is_no_text_is_told),
		TEST(spaces_and_remarks_are_fine),
		TEST(addresses),
		TEST(pins),
		TEST(words_of_others_are_made_plain),
	};

	return cmocka_run_group_tests_name("uplink: the office's place", tests, NULL, NULL);
}
