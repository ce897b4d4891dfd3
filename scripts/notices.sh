#!/usr/bin/env bash
# Writes THIRD-PARTY-GO.txt: the Go modules that bin/shadowgap is made of, each with the licence texts that its source carries, as
# they lie in the module cache. Fails where a linked module has none, or one that nobody has looked at yet (see kind below).
# Usage: notices.sh           write it
#        notices.sh --check   fail if it is not current
set -euo pipefail
export LC_ALL=C
file=THIRD-PARTY-GO.txt

die() { printf 'notices: %s\n' "$*" >&2; exit 1; }

# kind names a licence by a phrase that only its text has.
kind() {
	local text
	text=$(tr -s '[:space:]' ' ' <"$1")
	case $text in
	*'SIL OPEN FONT LICENSE Version 1.1'*) echo OFL-1.1 ;;
	*'Creative Commons Attribution 4.0 International Public License'*) echo CC-BY-4.0 ;;
	*'The FreeType Project LICENSE'*) echo FTL ;;
	*'your choice of exactly one of the following two licenses: * The FreeType License'*) echo FTL ;;
	*'Apache License, Version 2.0'* | *'Apache License Version 2.0'*) echo Apache-2.0 ;;
	*'Permission is hereby granted, free of charge, to any person obtaining a copy'*) echo MIT ;;
	*'Redistribution and use in source and binary forms'*)
		# The third clause bans using names "to endorse or promote products"; BSD-2-Clause has none.
		case $text in *'endorse or promote'*) echo BSD-3-Clause ;; *) echo BSD-2-Clause ;; esac
		;;
	*'Additional IP Rights Grant (Patents)'*) echo 'patent grant' ;;
	*) return 1 ;;
	esac
}

# texts lists the licence files of what is linked of a module: beside its packages and above them, down from its root. Of
# freetype's two licences its own is chosen; gonum keeps those of what it was translated from in a folder.
texts() { # MODULE-FOLDER PACKAGE-FOLDER…
	local root=$1 dir
	shift
	{
		for dir in "$@"; do
			while :; do
				find "$dir" -maxdepth 1 -type f \( -iname 'licen[cs]e*' -o -iname 'copying*' -o -iname 'notice*' -o -iname 'patents*' \) \
					! -iname '*-link*' ! -name '*.go'
				[ "$dir" != "$root" ] || break
				dir=$(dirname "$dir")
			done
		done
		find "$root" -path "$root/licenses/ftl.txt" -o -path "$root/THIRD_PARTY_LICENSES/*"
	} | sort -u
}

listing() {
	local packages module version root text names known
	local format='{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}} {{$.Dir}}{{end}}{{end}}'
	packages=$(go list -deps -f "$format" ./cmd/shadowgap)
	printf 'What bin/shadowgap is made of beside its own code: Go modules and the licence texts that their sources carry.\n'
	printf 'Written by scripts/notices.sh; THIRD-PARTY.md tells of the C and C++ libraries and of data.\n\n'
	printf "Go's runtime and standard library: BSD-3-Clause, patent grant; the texts are those of golang.org/x/sys, word for word\n"
	awk '{ print $1, $2, $3 }' <<<"$packages" | sort -u >"$scratch/modules"
	while read -r module version root; do
		mapfile -t folders < <(awk -v m="$module" '$1 == m { print $4 }' <<<"$packages")
		texts "$root" "${folders[@]}" >"$scratch/texts"
		[ -s "$scratch/texts" ] || die "$module $version carries no licence text"
		names=
		: >"$scratch/body"
		while read -r text; do
			case $text in
			*/THIRD_PARTY_LICENSES/*) known='and those of what it was translated from' ;;
			*) known=$(kind "$text") || die "$module $version: ${text#"$root"/} is a licence that nobody has looked at yet" ;;
			esac
			case ", $names, " in *", $known, "*) ;; *) names+=${names:+, }$known ;; esac
			printf '\n--- %s of %s\n\n' "${text#"$root"/}" "$module" >>"$scratch/body"
			tr -d '\r' <"$text" | sed -e 's/[[:space:]]*$//' >>"$scratch/body"
		done <"$scratch/texts"
		printf '%s %s: %s\n' "$module" "$version" "$names"
		cat "$scratch/body" >>"$scratch/bodies"
	done <"$scratch/modules"
	cat "$scratch/bodies"
}

cd "$(dirname "$0")/.."
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
listing >"$scratch/$file"
case ${1:-} in
--check)
	cmp -s "$scratch/$file" "$file" || die "$file is not current; run make notices and look at what changed"
	;;
'')
	cp "$scratch/$file" "$file"
	;;
*)
	die "usage: notices.sh [--check]"
	;;
esac
