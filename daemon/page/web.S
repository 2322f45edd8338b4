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

	.global pw_web_frame
pw_web_frame:
	.incbin "web/bus/frame.html"
	.byte 0

	.global pw_web_before
pw_web_before:
	.incbin "web/bus/before.html"
	.byte 0

	.global pw_web_found
pw_web_found:
	.incbin "web/bus/found.html"
	.byte 0

	.global pw_web_report
pw_web_report:
	.incbin "web/bus/report.html"
	.byte 0

	.global pw_web_pin
pw_web_pin:
	.incbin "web/bus/pin.html"
	.byte 0

	.global pw_web_installer
pw_web_installer:
	.incbin "web/bus/installer.html"
	.byte 0

	.global pw_web_wiring
pw_web_wiring:
	.incbin "web/bus/wiring.html"
	.byte 0

	.global pw_web_setup
pw_web_setup:
	.incbin "web/bus/setup.html"
	.byte 0

	.global pw_web_mechanic
pw_web_mechanic:
	.incbin "web/bus/mechanic.html"
	.byte 0

	.global pw_web_leave
pw_web_leave:
	.incbin "web/bus/leave.html"
	.byte 0

	.global pw_web_refusal
pw_web_refusal:
	.incbin "web/bus/refusal.html"
	.byte 0

	.section .note.GNU-stack, "", %progbits
