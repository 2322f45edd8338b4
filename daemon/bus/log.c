/* SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "bus_internal.h"

/* A service manager reads the level from the head of the line; a person does not want it. */
void pw_log(int level, const char *format, ...)
{
	char text[512];
	va_list args;

	va_start(args, format);
	vsnprintf(text, sizeof(text), format, args);
	va_end(args);
	if (getenv("JOURNAL_STREAM"))
		dprintf(STDERR_FILENO, "<%d>%s\n", level, text);
	else
		dprintf(STDERR_FILENO, "postwalkd: %s\n", text);
}
