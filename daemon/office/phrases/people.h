/* SPDX-License-Identifier: Apache-2.0 */
/* What stands about every page; signing in; accounts; keeping; the office's log. */
#define PW_PHRASES_PEOPLE(X, N)                                                                   \
	X(WEB_REFUSED, web_refused, "That cannot be shown")                                     \
	X(WEB_BEGINNING, web_beginning, "To the first page")                                    \
	X(WEB_NO_PAGE, web_no_page, "There is no such page.")                                   \
	X(WEB_NO_TABLE, web_no_table, "This page has no such table.")                           \
	X(WEB_BAD, web_bad, "The request is not as expected: a field that this page does not "  \
		"have, a value that cannot be, or no form of ours.")                            \
	X(WEB_LONG, web_long, "A value is too long: expected at most 199 bytes.")               \
	X(WEB_LARGE, web_large, "What was sent is too large: expected a file of at most 16 MB.") \
	X(WEB_OLD_FORM, web_old_form, "This form is not from a page of yours, or it is too "    \
		"old. Open the page anew and send it again.")                                   \
	X(WEB_SIGNED_OUT, web_signed_out, "You are not signed in any more. Sign in and try again.") \
	X(WEB_MAY_NOT, web_may_not, "Your account may not do that. Who administers the accounts " \
		"can change what it may.")                                                      \
	X(WEB_SEE_ONLY, web_see_only, "A program's token may see and no more.")                 \
	X(WEB_NO_TOKEN, web_no_token, "This token is not known, or it is over.")                \
	X(WEB_AWAY, web_away, "The store cannot be reached at the moment. Nothing was changed. " \
		"Try again in a minute.")                                                       \
	X(WEB_BUSY, web_busy, "Too much is asked at this moment. Try again in a few seconds.")  \
	X(SIGN_IN, sign_in, "Sign in")                                                          \
	X(SIGN_CODE, sign_code, "Account code")                                                 \
	X(SIGN_PASSWORD, sign_password, "Password")                                             \
	X(SIGN_WHO, sign_who, "Accounts are made by who administers them. What is looked at "   \
		"about a driver, and what is done, is written into the office's log.")          \
	X(SIGN_WRONG, sign_wrong, "This code and this password do not go together.")            \
	X(SIGN_WAIT, sign_wait, "There were too many wrong tries. Wait {1} seconds, then try again.") \
	X(SIGN_CHANGE, sign_change, "Change the password")                                      \
	X(SIGN_MUST, sign_must, "This password was given to you by somebody else. Choose one of your own.") \
	X(SIGN_NOW, sign_now, "Password as it is now")                                          \
	X(SIGN_NEW, sign_new, "New password")                                                   \
	X(SIGN_AGAIN, sign_again, "New password once more")                                     \
	X(SIGN_LONG, sign_long, "A password has 12 characters at least, and 128 bytes at most. " \
		"A few words in a row are easy to keep in mind.")                               \
	X(SIGN_DIFFER, sign_differ, "The two new passwords differ.")                            \
	X(SIGN_SAME, sign_same, "The new password is the one that you have.")                   \
	X(SIGN_NOT_NOW, sign_not_now, "This is not the password as it is now.")                 \
	X(SIGN_CHANGED, sign_changed, "The password is changed. Other sessions of this account have ended.") \
	X(PEOPLE_NAME, people_name, "People")                                                   \
	X(PEOPLE_LEAD, people_lead, "{1} accounts are open; {2} of them may administer.")       \
	X(PEOPLE_ACCOUNTS, people_accounts, "Accounts")                                         \
	X(PEOPLE_CODE, people_code, "Code")                                                     \
	X(PEOPLE_MAY, people_may, "May")                                                        \
	X(PEOPLE_MADE, people_made, "Made")                                                     \
	X(PEOPLE_CHANGED, people_changed, "Changed")                                            \
	X(PEOPLE_SEEN, people_seen, "Last signed in")                                           \
	X(PEOPLE_FIRST, people_first, "Password")                                               \
	X(OWN_PASSWORD, own_password, "own")                                                        \
	X(FIRST_PASSWORD, first_password, "given, to be changed")                                   \
	X(PEOPLE_NONE, people_none, "There is no account yet.")                                 \
	X(PEOPLE_MAKE, people_make, "Make or change an account")                                \
	X(PEOPLE_CODE_HELP, people_code_help, "Code (letters, digits, . _ -; no name)")         \
	X(PEOPLE_FRESH, people_fresh, "Draw a new first password")                              \
	X(PEOPLE_SAVE, people_save, "Save the account")                                         \
	X(PEOPLE_BAD_CODE, people_bad_code, "Expected a code of 1 to 15 of A-Z a-z 0-9 . _ -")  \
	X(PEOPLE_BAD_ROLE, people_bad_role, "Expected one of the roles.")                       \
	X(PEOPLE_SELF, people_self, "Nobody changes what the own account may.")                 \
	X(PEOPLE_SAVED, people_saved, "Account {1}: {2}.")                                      \
	X(PEOPLE_DRAWN, people_drawn, "Account {1}: {2}. Its first password is {3} - it stands " \
		"here once, and must be changed at the first sign-in.")                         \
	X(PEOPLE_TOKENS, people_tokens, "Tokens for programs")                                  \
	X(PEOPLE_TOKEN_WHAT, people_token_what, "A program that sends Authorization: Bearer TOKEN " \
		"may see what the account may see, and no more.")                               \
	X(PEOPLE_TOKEN_FOR, people_token_for, "For the account")                                \
	X(PEOPLE_TOKEN_WORDS, people_token_words, "What it is for")                             \
	X(PEOPLE_TOKEN_DAYS, people_token_days, "Good for days (1 to 400)")                     \
	X(PEOPLE_TOKEN_MAKE, people_token_make, "Make a token")                                 \
	X(PEOPLE_TOKEN, people_token, "Token")                                                  \
	X(PEOPLE_TOKEN_ENDS, people_token_ends, "Good until")                                   \
	X(PEOPLE_TOKEN_NONE, people_token_none, "No token was ever made.")                      \
	X(PEOPLE_TOKEN_END, people_token_end, "End a token")                                    \
	X(PEOPLE_TOKEN_ENDED, people_token_ended, "The token is good for nothing any more.")    \
	X(PEOPLE_TOKEN_MADE, people_token_made, "The token is {1} - it stands here once.")      \
	X(PEOPLE_BAD_DAYS, people_bad_days, "Expected a whole number from 1 to 400.")           \
	X(PEOPLE_BAD_WORDS, people_bad_words, "Expected 1 to 160 bytes.")                       \
	X(PEOPLE_NO_ACCOUNT, people_no_account, "There is no such open account.")               \
	X(KEEPING_NAME, keeping_name, "Keeping")                                                \
	X(KEEPING_LEAD, keeping_lead, "Nothing is purged by itself. What is purged is gone; "   \
		"tallies and a count of what went stay.")                                       \
	X(KEEPING_TIMES, keeping_times, "How long it is to be kept")                            \
	X(KEEPING_KIND, keeping_kind, "Kind")                                                   \
	X(KEEPING_DAYS, keeping_days, "Days to keep")                                           \
	X(KEEPING_BEFORE, keeping_before, "Over since before")                                  \
	X(KEEPING_TIMES_FROM, keeping_times_from, "Times come from the section [keep] of office.conf; " \
		"where none stands, it is kept. What the law or a contract asks for comes first.") \
	X(KEEPING_HOLDS, keeping_holds, "Holds")                                                \
	X(KEEPING_HOLD_WHAT, keeping_hold_what, "While a hold stands, nothing of its bus and days is purged.") \
	X(KEEPING_ID, keeping_id, "Hold")                                                       \
	X(KEEPING_BUS, keeping_bus, "Bus (none: every bus)")                                    \
	X(KEEPING_FROM, keeping_from, "First day")                                              \
	X(KEEPING_TO, keeping_to, "Last day")                                                   \
	X(KEEPING_WHO, keeping_who, "Who")                                                      \
	X(KEEPING_WHY, keeping_why, "Why")                                                      \
	X(KEEPING_SET, keeping_set, "Set")                                                      \
	X(KEEPING_LIFTED, keeping_lifted, "Lifted")                                             \
	X(KEEPING_NO_HOLDS, keeping_no_holds, "No hold was ever set.")                          \
	X(KEEPING_HOLD, keeping_hold, "Set a hold")                                             \
	X(KEEPING_HELD, keeping_held, "The hold stands.")                                       \
	X(KEEPING_LIFT, keeping_lift, "Lift a hold")                                            \
	X(KEEPING_LIFT_WHICH, keeping_lift_which, "Number of the hold")                         \
	X(KEEPING_IS_LIFTED, keeping_is_lifted, "The hold is lifted.")                          \
	X(KEEPING_NO_HOLD, keeping_no_hold, "No hold of this number stands.")                   \
	X(KEEPING_PURGES, keeping_purges, "What was purged")                                    \
	X(KEEPING_COUNT, keeping_count, "Gone")                                                 \
	X(KEEPING_KEPT, keeping_kept, "Kept by a hold")                                         \
	X(KEEPING_WHEN, keeping_when, "When")                                                   \
	X(KEEPING_NO_PURGES, keeping_no_purges, "Nothing was purged.")                          \
	X(KEEPING_PURGE, keeping_purge, "Purge")                                                \
	X(KEEPING_PURGE_BEFORE, keeping_purge_before, "All before this day")                    \
	X(KEEPING_SURE, keeping_sure, "I know that this cannot be undone")                      \
	X(KEEPING_NOT_SURE, keeping_not_sure, "Tick that you know it, or leave it.")            \
	X(KEEPING_BAD_DAY, keeping_bad_day, "Expected a day as 2025-10-14.")                    \
	X(KEEPING_BAD_ORDER, keeping_bad_order, "Expected the last day not before the first.")  \
	X(KEEPING_BAD_BUS, keeping_bad_bus, "Expected a bus of 1 to 15 of A-Z a-z 0-9 . _ -")   \
	X(KEEPING_BAD_KIND, keeping_bad_kind, "Expected one of the kinds.")                     \
	X(KEEPING_TOO_SOON, keeping_too_soon, "Expected a day at least 30 days ago.")           \
	X(KEEPING_PURGED, keeping_purged, "{1} are gone; {2} are kept by a hold.")              \
	X(LOG_NAME, log_name, "Log")                                                            \
	X(LOG_LEAD, log_lead, "Who looked at what is about a driver, and who did what. Nothing here is changed by anybody.") \
	X(LOG_FROM, log_from, "From day")                                                       \
	X(LOG_TO, log_to, "To day")                                                             \
	X(LOG_WHO, log_who, "Who")                                                              \
	X(LOG_DID, log_did, "Did")                                                              \
	X(LOG_CONTAINS, log_contains, "What was done has")                                      \
	X(LOG_AT, log_at, "When")                                                               \
	X(LOG_SHOW, log_show, "Show")                                                           \
	X(LOG_NONE, log_none, "Nothing was written on these days.")                             \
	X(LOG_MORE, log_more, "The last {1} lines of these days. All of them are in the file.")
