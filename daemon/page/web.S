/* SPDX-License-Identifier: Apache-2.0 */
/* The files of web/bus as strings, each with a closing zero. Assembled from the top folder. */
	.section .rodata

	.global pw_web_page
pw_web_page:
	.incbin "web/bus/page.html"
	.byte 0

	.global pw_web_silent
pw_web_silent:
	.incbin "web/bus/silent.html"
	.byte 0

	.global pw_web_style
pw_web_style:
	.incbin "web/bus/style.css"
	.byte 0

	.global pw_web_dark
pw_web_dark:
	.incbin "web/bus/dark.css"
	.byte 0

	.global pw_web_script
pw_web_script:
	.incbin "web/bus/page.js"
	.byte 0

	.section .note.GNU-stack, "", %progbits
