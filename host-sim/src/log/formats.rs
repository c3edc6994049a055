//! The formats of edge logs, byte by byte.
//!
//! # Own CSV
//!
//! Text in UTF-8; a byte-order mark in front is skipped. Rows end with `\n` or `\r\n`; the last one may lack it.
//! A row has at most 65 536 bytes. Blank rows and rows that begin with `#` say nothing.
//!
//! ```text
//! log    = *comment "time_ns,line,level" LF *(row LF)
//! row    = time "," line "," level
//! time   = ["-"] 1*DIGIT                  ; ns on the log's own zero, -2^63 to 2^63 - 1
//! line   = name / DQUOTE quoted DQUOTE    ; quoted if it holds a comma or a quote, or blanks at an end
//! level  = "0" / "1" / "x"                ; low, high, unknown
//! ```
//!
//! - A quote inside a quoted name is doubled. A name has 1 to 1024 bytes and no control characters.
//! - The first row of a line is its initial level, no edge.
//! - A row whose level is that of the line's last row says that time passed.
//! - Times may go back; whoever reads the log marks what that may spoil.
//! - The log ends at its last row.
//!
//! The header is the version: another first row is another format.
//!
//! # Value change dump
//!
//! Read as IEEE 1364 clause 18 has it. Written as follows, with the lines that begin at the first time inside
//! `$dumpvars`, and the others at their first value:
//!
//! ```text
//! $timescale 1 ns $end
//! $scope module log $end
//! $var wire 1 ! beam $end
//! $upscope $end
//! $enddefinitions $end
//! #0
//! $dumpvars
//! 1!
//! $end
//! #150
//! 0!
//! ```
//!
//! - A value that repeats the level of its signal says that time passed for it; a time mark without values, that
//!   time passed for all. The last mark is the end of the log.
//! - Signals that are not of one bit are skipped. `x` and `z` are unknown levels.
//! - A signal is called by its own name where that is unique, else by its path, dots between.
//!
//! # CSV of other programs
//!
//! Read only. A header is looked for: the row that holds the columns the user names, else the first one with a
//! column of times (`Time [s]`, `time_us`, `t`) and a number below it. Rows of text before it, comments (`#`,
//! `;`), a row of units below it, quotes, `\r\n` and a byte-order mark are taken as they come. The separator is
//! a tab, else `;`, else `,`; decimal point and decimal comma are the same. Columns `line` (`channel`, `signal`,
//! `name`) and `level` (`value`, `state`) make one line a row; without them each column is a line. Without a
//! header the first column is the time. Levels are 0, 1, low, high, false, true, or x. Times are decimal and are
//! read exactly; what is finer than 1 ns is rounded half to even.
