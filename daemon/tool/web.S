/* SPDX-License-Identifier: Apache-2.0 */
/* The files of web/bench as strings, each with a closing zero. Assembled from the top folder. */
	.section .rodata

	.global pw_bench_web_page
pw_bench_web_page:
	.incbin "web/bench/page.html"
	.byte 0

	.global pw_bench_web_style
pw_bench_web_style:
	.incbin "web/bench/style.css"
	.byte 0

	.global pw_bench_web_script
pw_bench_web_script:
	.incbin "web/bench/page.js"
	.byte 0

	.section .note.GNU-stack, "", %progbits
