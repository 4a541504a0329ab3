package phrase

// verdicts are the texts of the verdict of a flight.
func verdicts() map[string]Text {
	return map[string]Text{
		"level.good": {En: "good: {reason}", De: "gut: {reason}", Ja: "良好：{reason}"},
		"level.look": {En: "look: {reason}", De: "prüfen: {reason}", Ja: "要確認：{reason}"},
		"level.bad":  {En: "bad: {reason}", De: "schlecht: {reason}", Ja: "不良：{reason}"},
		"level.void": {En: "void: {reason}", De: "ungültig: {reason}", Ja: "無効：{reason}"},

		"top-unheard": {
			En: "the apogee was not heard", De: "der Gipfel des Flugs wurde nicht gehört", Ja: "頂点が受信されていません",
		},
		"not-slowed": {
			En: "released, but nothing slowed it down{fall}", De: "ausgeworfen, aber nichts bremste sie{fall}", Ja: "放出したが減速しませんでした{fall}",
		},
		"release-unseen": {
			En: "no release was seen before the readings end", De: "kein Auswurf, bevor die Messung endet", Ja: "記録の終わりまで放出が確認できません",
		},
		"no-parachute": {
			En: "it came down without a parachute{fall}", De: "sie kam ohne Fallschirm herunter{fall}", Ja: "パラシュートなしで落下しました{fall}",
		},
		"fall": {
			En: ", at up to {speed}", De: ", mit bis zu {speed}", Ja: "（最大{speed}）",
		},
		"release-at": {
			En: "released {lag}{speed}", De: "ausgeworfen {lag}{speed}", Ja: "{lag}に放出{speed}",
		},
		"release-late-or-not": {
			En: "released {lag}: the readings leave open whether within {limit}",
			De: "ausgeworfen {lag}: die Messung lässt offen, ob innerhalb von {limit}",
			Ja: "{lag}に放出：{limit}以内かどうかは記録から決められません",
		},
		"release-early-or-not": {
			En: "released {lag}, which may have been before apogee",
			De: "ausgeworfen {lag}, vielleicht vor dem Gipfel",
			Ja: "{lag}に放出、頂点より前かもしれません",
		},
		"hard-landing": {
			En: "it sank at {sink}, which is a hard landing", De: "sie sank mit {sink}, das ist eine harte Landung", Ja: "{sink}で降下、強い着地です",
		},
		"landing-unheard": {
			En: "the readings end before the landing", De: "die Messung endet vor der Landung", Ja: "着地の前に記録が終わっています",
		},
		"sink-unknown": {
			En: "the sink rate is not known", De: "die Sinkrate ist nicht bekannt", Ja: "降下速度が不明です",
		},
		"release-unknown": {
			En: "when it released is not known; it sank at {sink}", De: "wann sie auswarf, ist nicht bekannt; sie sank mit {sink}", Ja: "放出の時刻は不明、{sink}で降下",
		},
		"well": {
			En: "released {lag}, sank at {sink}{stages}", De: "ausgeworfen {lag}, sank mit {sink}{stages}", Ja: "{lag}に放出、{sink}で降下{stages}",
		},
		"stages": {
			En: " at the end, faster before, at about {speed}", De: " am Ende, vorher schneller, mit etwa {speed}", Ja: "（最後）、その前は速く約{speed}",
		},
		"speed-up": {
			En: ", at about {speed} upward", De: ", mit etwa {speed} aufwärts", Ja: "、上向き約{speed}",
		},
		"speed-down": {
			En: ", at about {speed} downward", De: ", mit etwa {speed} abwärts", Ja: "、下向き約{speed}",
		},
		"lag-either": {
			En: "either {first} ({first_share}) or {second} apogee ({second_share})",
			De: "entweder {first} ({first_share}) oder {second} dem Gipfel ({second_share})",
			Ja: "{first}（{first_share}）または頂点の{second}（{second_share}）",
		},
		"lag-around": {
			En: "somewhere from {before} before to {after} after apogee",
			De: "irgendwo von {before} vor bis {after} nach dem Gipfel",
			Ja: "頂点の{before}前から{after}後のどこか",
		},
		"lag-between": {
			En: "somewhere from {low} to {high} apogee",
			De: "irgendwo von {low} bis {high} dem Gipfel",
			Ja: "頂点の{low}から{high}のどこか",
		},
		"lag-unknown": {
			En: "at a moment that is not known", De: "zu unbekannter Zeit", Ja: "不明な時刻",
		},
		"lag":         {En: "{side} apogee", De: "{side} dem Gipfel", Ja: "頂点の{side}"},
		"side-before": {En: "{lag} before", De: "{lag} vor", Ja: "{lag}前"},
		"side-after":  {En: "{lag} after", De: "{lag} nach", Ja: "{lag}後"},
		"lost": {
			En: "lost while climbing, last heard at {height}", De: "im Steigen verloren, zuletzt gehört in {height}", Ja: "上昇中に途絶、最後の受信は{height}",
		},
		"sounder-only": {
			En: "the height alone, {note}", De: "nur die Höhe, {note}", Ja: "高さのみ、{note}",
		},
		"too-few": {
			En: "too few samples to work this flight out", De: "zu wenige Messwerte, um den Flug auszuwerten", Ja: "解析するには記録が足りません",
		},
		"in-the-air": {
			En: "still in the air, its numbers are not final", De: "noch in der Luft, die Werte sind nicht endgültig", Ja: "まだ飛行中、値は確定していません",
		},
		"waiting": {
			En: "still being worked out", De: "wird noch ausgewertet", Ja: "解析中です",
		},
		"void": {En: "{why}", De: "{why}", Ja: "{why}"},
		"void-unsaid": {
			En: "a person says that it was no flight", De: "jemand sagt, dass es kein Flug war", Ja: "飛行ではないと人が判断しました",
		},
	}
}
