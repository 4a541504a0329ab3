package phrase

// scripts are the fixed texts that the pages' scripts write, by the English ones.
func scripts() map[string]Text {
	return map[string]Text{
		"Not acknowledged: {why}": {De: "Nicht bestätigt: {why}", Ja: "確認できません：{why}"},
		"Not taken: {why}":        {De: "Nicht angenommen: {why}", Ja: "受理されません：{why}"},
		"Not loaded: {why}":       {De: "Nicht geladen: {why}", Ja: "読み込めません：{why}"},
		"Not kept: {why}":         {De: "Nicht behalten: {why}", Ja: "残せません：{why}"},
		"Not done: {why}":         {De: "Nicht ausgeführt: {why}", Ja: "できません：{why}"},
		"Kept.":                   {De: "Behalten.", Ja: "残しました。"},
		"{list} and {n} more":     {De: "{list} und {n} weitere", Ja: "{list}ほか{n}機"},
		"gone":                    {De: "weg", Ja: "切断"},
		"NOT LIVE: this page has failed ({n}, the last: {last}). Load it again; until then do not rely on it.": {
			De: "NICHT LIVE: diese Seite ist gestört ({n}, zuletzt: {last}). Neu laden; bis dahin nicht auf sie verlassen.", Ja: "更新停止：このページに障害があります（{n}、最後：{last}）。再読み込みするまで頼らないでください。",
		},
		"{n} error": {De: "{n} Fehler", Ja: "エラー{n}件"}, "{n} errors": {De: "{n} Fehler", Ja: "エラー{n}件"},
		"{n} unknown id on {link}":  {De: "{n} unbekannte Kennung auf {link}", Ja: "{link}に未知のID {n}件"},
		"{n} unknown ids on {link}": {De: "{n} unbekannte Kennungen auf {link}", Ja: "{link}に未知のID {n}件"},

		// The clock.
		"measured to ± {n} ms": {De: "gemessen auf ± {n} ms", Ja: "測定の誤差 ± {n} ms"}, "less than 0.5 s": {De: "unter 0,5 s", Ja: "0.5秒未満"}, "{n} days": {De: "{n} Tage", Ja: "{n}日"},
		"station behind by {time}": {De: "Station geht nach um {time}", Ja: "局が{time}遅れ"}, "station ahead by {time}": {De: "Station geht vor um {time}", Ja: "局が{time}進み"}, "The station took it.": {De: "Die Station hat sie angenommen.", Ja: "局が受け取りました。"},

		// The plots.
		"Height above the pad": {De: "Höhe über dem Startplatz", Ja: "発射台からの高さ"}, "Difference of their heights": {De: "Unterschied der Höhen", Ja: "高さの差"}, "Vertical speed": {De: "Senkrechte Geschwindigkeit", Ja: "垂直速度"}, "speed": {De: "Tempo", Ja: "速度"},
		"Acceleration": {De: "Beschleunigung", Ja: "加速度"}, "Cell": {De: "Zelle", Ja: "電池"}, "Release pulse": {De: "Puls des Auswurfs", Ja: "放出パルス"}, "expected": {De: "erwartet", Ja: "予想"}, "measured": {De: "gemessen", Ja: "測定"}, "difference": {De: "Unterschied", Ja: "差"},
		"as sent": {De: "wie gesendet", Ja: "送信値"}, "expected by the model from burnout on": {De: "vom Modell ab Schubende erwartet", Ja: "モデルの予想（加速終了から）"}, "More channels, as the board sent them": {De: "Weitere Kanäle, wie die Elektronik sie sendet", Ja: "基板が送った他の値"},
		"Choose two or more flights below.": {De: "Unten zwei oder mehr Flüge wählen.", Ja: "下から2つ以上選んでください。"}, "{one} minus {other}, ± one standard deviation": {De: "{one} minus {other}, ± eine Standardabweichung", Ja: "{one}から{other}を引いた差、± 標準偏差"},
		"Mean of {n} ± spread": {De: "Mittel von {n} ± Streuung", Ja: "{n}件の平均 ± ばらつき"},
		"Zoom in":              {De: "Näher", Ja: "拡大"}, "Zoom out": {De: "Weiter weg", Ja: "縮小"}, "Earlier": {De: "Früher", Ja: "前へ"}, "Later": {De: "Später", Ja: "後へ"}, "All": {De: "Alles", Ja: "全体"}, "its own unit": {De: "eigener Einheit", Ja: "独自の単位"},
		"{title} in {unit}, from {from} s to {to} s, between {low} and {high}": {De: "{title} in {unit}, von {from} s bis {to} s, zwischen {low} und {high}", Ja: "{title}（{unit}）、{from}秒から{to}秒、{low}から{high}の間"},

		// A flight.
		"{event}, at {height}": {De: "{event}, bei {height}", Ja: "{event}、高さ{height}"}, "as called live": {De: "wie live gemeldet", Ja: "速報値"}, "called live at {s} s": {De: "live gemeldet bei {s} s", Ja: "速報は{s}秒"}, "over at {s} s": {De: "vorbei bei {s} s", Ja: "{s}秒に解消"},
		"about {s} s before liftoff": {De: "um {s} s vor dem Start", Ja: "発射の約{s}秒前"}, "about {s} s after liftoff": {De: "um {s} s nach dem Start", Ja: "発射の約{s}秒後"},
		"The landing was not heard.": {De: "Die Landung wurde nicht gehört.", Ja: "着地は受信されていません。"}, "{place} on a map": {De: "{place} auf einer Karte", Ja: "{place}を地図で"}, "type a number of seconds, such as 95": {De: "eine Zahl von Sekunden eingeben, etwa 95", Ja: "秒数を入れてください（例：95）"},
		"came down {where}, ± {sure}, by the wind": {De: "kam herunter {where}, ± {sure}, nach dem Wind", Ja: "落下 {where}、± {sure}、風から推定"}, "came down {where}, ± {sure}, by its GPS": {De: "kam herunter {where}, ± {sure}, nach GPS", Ja: "落下 {where}、± {sure}、GPSによる"},

		// The field.
		"NOT LIVE: no news from the station for {n} s. What stands below is old.": {De: "NICHT LIVE: seit {n} s keine Nachrichten von der Station. Was unten steht, ist alt.", Ja: "更新停止：{n}秒間、局から情報がありません。下の内容は古いものです。"},
		"NOT LIVE: no news from the station for {n} s.":                           {De: "NICHT LIVE: seit {n} s keine Nachrichten von der Station.", Ja: "更新停止：{n}秒間、局から情報がありません。"},
		"From you: {walk}": {De: "Von hier: {walk}", Ja: "自分から：{walk}"}, "Asking the phone …": {De: "Das Handy wird gefragt …", Ja: "スマホに確認中…"}, "You are known to ± {far}.": {De: "Der Ort des Handys ist auf ± {far} bekannt.", Ja: "自分の位置の誤差 ± {far}。"},
		"This browser tells where it is only by https: see Phones.": {De: "Dieser Browser sagt nur über https, wo er ist: siehe Handys.", Ja: "位置はhttpsでのみ分かります。スマホの項を見てください。"}, "The phone does not tell where it is: {why}.": {De: "Das Handy sagt nicht, wo es ist: {why}.", Ja: "スマホの位置が分かりません：{why}。"},
		"you": {De: "hier", Ja: "自分"}, "wind {speed}": {De: "Wind {speed}", Ja: "風 {speed}"}, "{far} around the pad": {De: "{far} um den Startplatz", Ja: "発射台の周囲{far}"},
		"A sketch of the field, north up: {what}. The words beside it say the same.": {De: "Eine Skizze des Platzes, Norden oben: {what}. Die Worte daneben sagen dasselbe.", Ja: "会場の略図、上が北：{what}。横の文と同じ内容です。"},

		// Raw frames.
		"not decoded": {De: "nicht gelesen", Ja: "解読なし"}, "frame {n} of the board": {De: "Meldung {n} der Elektronik", Ja: "基板のフレーム{n}"}, "board clock {s} s": {De: "Uhr der Elektronik {s} s", Ja: "基板の時計 {s}秒"},
		"No frame of this rocket was heard within 2 s of this instant.": {De: "Keine Meldung dieser Rakete innerhalb von 2 s um diesen Zeitpunkt.", Ja: "この時刻の前後2秒に、このロケットのフレームはありません。"},
		"Looking at what came in…":                                      {De: "Was hereinkam, wird angesehen…", Ja: "受信内容を調べています…"}, "No guess: {why}.": {De: "Nichts zu raten: {why}.", Ja: "推定できません：{why}。"},
		"A proposal that reads {n} of {all} frames heard. A number alone does not say what it measures: look at each line.": {
			De: "Ein Vorschlag, der {n} von {all} gehörten Meldungen liest. Eine Zahl allein sagt nicht, was sie misst: jede Zeile ansehen.", Ja: "受信{all}件中{n}件を読める案です。数だけでは何の値か分かりません。各行を確かめてください。",
		},
		"One frame of {layout}, as it came": {De: "Eine Meldung von {layout}, wie sie kam", Ja: "{layout}の届いたままのフレーム"}, "One frame, as it came": {De: "Eine Meldung, wie sie kam", Ja: "届いたままのフレーム"}, "Fields of {layout}": {De: "Felder von {layout}", Ja: "{layout}の項目"},
		"passed over": {De: "übergangen", Ja: "使わない"}, "used for {what}": {De: "benutzt für {what}", Ja: "用途：{what}"}, "kept, not used": {De: "behalten, nicht benutzt", Ja: "残すが使わない"}, "Copied.": {De: "Kopiert.", Ja: "コピーしました。"},
		"It is selected: copy it with the phone's or browser's own menu.": {De: "Es ist markiert: mit dem Menü des Handys oder Browsers kopieren.", Ja: "選択しました。スマホかブラウザのメニューでコピーしてください。"},

		// The links.
		"{all} came in the last fifth of a second, {n} are shown": {De: "{all} kamen in der letzten Fünftelsekunde, {n} werden gezeigt", Ja: "この0.2秒に{all}件、{n}件を表示"},
		"Open": {De: "Offen", Ja: "接続"}, "Closed": {De: "Zu", Ja: "切断"}, "Not readable": {De: "Nicht lesbar", Ja: "読めない"}, "frames/s": {De: "Meldungen/s", Ja: "フレーム/秒"}, "good frames": {De: "gute Meldungen", Ja: "正常なフレーム"}, "missing": {De: "fehlen", Ja: "欠落"}, "unknown ids": {De: "unbekannte Kennungen", Ja: "未知のID"},
		"bytes": {De: "Bytes", Ja: "バイト"}, "last heard": {De: "zuletzt gehört", Ja: "最後の受信"}, "came back": {De: "kam wieder", Ja: "復帰"}, "refused": {De: "abgelehnt", Ja: "読めず"}, "once": {De: "einmal", Ja: "1回"}, "{n} times": {De: "{n}-mal", Ja: "{n}回"},
		"Its frames are below": {De: "Die Meldungen stehen unten", Ja: "フレームは下に"}, "and {n} bytes more": {De: "und {n} Bytes mehr", Ja: "ほか{n}バイト"}, "Nothing was refused.": {De: "Nichts wurde abgelehnt.", Ja: "読めないものはありません。"}, "Go on": {De: "Weiter", Ja: "再開"},
		"Sending": {De: "Sendet", Ja: "送信中"}, "Waiting for the server": {De: "Wartet auf den Server", Ja: "サーバ待ち"}, "Up to date": {De: "Alles gesendet", Ja: "送信済み"}, "{n} kB of the journal": {De: "{n} kB des Journals", Ja: "記録 {n} kB"}, "{n}, in {file}": {De: "{n}, in {file}", Ja: "{n}件、{file}"},
		"Nothing is lost: it is sent when the server takes data again.": {De: "Nichts geht verloren: es wird gesendet, sobald der Server wieder Daten nimmt.", Ja: "失われません。サーバが受け付ければ送ります。"},

		// The replay.
		"{at} of {all}": {De: "{at} von {all}", Ja: "{at} / 全{all}"}, "Again": {De: "Noch einmal", Ja: "もう一度"}, "Play": {De: "Weiter", Ja: "再生"},

		// The sounder.
		"Listening…": {De: "Hört zu…", Ja: "聞いています…"}, "{n} s heard.": {De: "{n} s gehört.", Ja: "{n}秒聞きました。"}, "Not sure": {De: "Nicht sicher", Ja: "不確か"}, "lead": {De: "Vorton", Ja: "前置き"}, "{n} long": {De: "{n} lang", Ja: "長{n}"},
		"{n} s heard, and no tone in it. Go nearer to the rocket and record two repeats.":  {De: "{n} s gehört, und kein Ton darin. Näher an die Rakete gehen und zwei Wiederholungen aufnehmen.", Ja: "{n}秒聞きましたが音がありません。ロケットに近づいて2回分録音してください。"},
		"This browser cannot play that file: choose a recording, such as WAV, M4A or MP3.": {De: "Dieser Browser kann die Datei nicht abspielen: eine Aufnahme wählen, etwa WAV, M4A oder MP3.", Ja: "このファイルは再生できません。WAV、M4A、MP3などの録音を選んでください。"},
		"What was heard, and how it is grouped: {words}":                                   {De: "Was gehört wurde, und wie es gruppiert ist: {words}", Ja: "聞いた音とその区切り：{words}"},
		"Recording: {n} s. Stop after two or three repeats.":                               {De: "Aufnahme: {n} s. Nach zwei oder drei Wiederholungen anhalten.", Ja: "録音中：{n}秒。2、3回分で止めてください。"},
		"Stop and read": {De: "Anhalten und lesen", Ja: "止めて読む"}, "{n} s of sound": {De: "{n} s Ton", Ja: "音 {n}秒"},
		"The microphone cannot be used ({why}): choose a recording instead.": {De: "Das Mikrofon geht nicht ({why}): stattdessen eine Aufnahme wählen.", Ja: "マイクが使えません（{why}）。録音ファイルを選んでください。"},
	}
}
