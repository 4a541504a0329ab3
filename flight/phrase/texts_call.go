package phrase

// calls are the texts of what is called out besides alarms.
func calls() map[string]Text {
	return map[string]Text{
		"call.liftoff":   {En: "{rocket} liftoff", De: "{rocket} hebt ab", Ja: "{rocket}、発射", Kana: "{rocket}、はっしゃ"},
		"call.apogee":    {En: "{rocket} apogee", De: "{rocket} am Gipfel", Ja: "{rocket}、頂点", Kana: "{rocket}、ちょうてん"},
		"call.apogee.at": {En: "{rocket} apogee, {height}", De: "{rocket} am Gipfel, {height}", Ja: "{rocket}、頂点、{height}", Kana: "{rocket}、ちょうてん、{height}"},
		"call.release":   {En: "{rocket} release", De: "{rocket} Auswurf", Ja: "{rocket}、放出", Kana: "{rocket}、ほうしゅつ"},
		"call.sounded":   {En: "{rocket}, the sounder says {height}", De: "{rocket}, der Piepser sagt {height}", Ja: "{rocket}、ブザーの高さ、{height}", Kana: "{rocket}、ブザーのたかさ、{height}"},
		"call.down":      {En: "{rocket} landed", De: "{rocket} ist unten", Ja: "{rocket}、着地", Kana: "{rocket}、ちゃくち"},
		"call.height":    {En: "{rocket} {height#}", De: "{rocket} {height#}", Ja: "{rocket}、{height#}", Kana: "{rocket}、{height#}"},
		"call.metre":     {En: "{height#} metre", De: "{height#} Meter", Ja: "{height#}メートル", Kana: "{height#}メートル"},
		"call.metres":    {En: "{height#} metres", De: "{height#} Meter", Ja: "{height#}メートル", Kana: "{height#}メートル"},
	}
}
