package phrase

// otherPages are the fixed texts of the pages' templates, by the English ones.
func otherPages() map[string]Text {
	return map[string]Text{
		// The frame, the signing in, errors.
		"Pages": {De: "Seiten", Ja: "ページ"}, "Change the unit of heights": {De: "Einheit der Höhen wechseln", Ja: "高さの単位を変える"},
		"Change between the daylight and the dusk colours": {De: "Helle oder dunkle Farben", Ja: "明るい色・暗い色の切替"},
		"Phones: how they get in":                          {De: "Handys: wie sie hereinkommen", Ja: "スマホの接続方法"},
		"This computer":                                    {De: "Dieser Computer", Ja: "このコンピュータ"},
		"Keys of the configuration":                        {De: "Schlüssel der Konfiguration", Ja: "設定項目一覧"}, "Configuration": {De: "Konfiguration", Ja: "設定"},
		"Sign out": {De: "Abmelden", Ja: "サインアウト"}, "Sign in": {De: "Anmelden", Ja: "サインイン"}, "crew": {De: "Crew", Ja: "運営"}, "viewer": {De: "Zuschauer", Ja: "観客"}, "nobody": {De: "niemand", Ja: "なし"},
		"not trusted": {De: "nicht verlässlich", Ja: "信頼不可"}, "Not possible": {De: "Nicht möglich", Ja: "できません"}, "Go to the board": {De: "Zur Tafel", Ja: "表示盤へ"},
		"No passphrase is set: these pages are open to everybody on this computer, and to nobody else.": {
			De: "Es ist kein Passwort gesetzt: Diese Seiten sind für alle an diesem Computer offen, und für niemanden sonst.", Ja: "パスフレーズ未設定：このコンピュータの利用者だけが見られます。",
		},
		"Passphrase": {De: "Passwort", Ja: "パスフレーズ"}, "the crew's, or the viewers' to look only": {De: "das der Crew, oder das der Zuschauer nur zum Ansehen", Ja: "運営用、または閲覧のみの観客用"},
		"That is not the passphrase.":               {De: "Das ist nicht das Passwort.", Ja: "パスフレーズが違います。"},
		"Too many attempts from this address. Wait": {De: "Zu viele Versuche von dieser Adresse. Wartezeit:", Ja: "この接続元からの試行が多すぎます。待ち時間："},
		"s, then try again.":                        {De: "s, dann noch einmal versuchen.", Ja: "秒。その後もう一度試してください。"},
		"and":                                       {De: "und", Ja: "と"},
		"under":                                     {De: "unter", Ja: "："},
		"not over":                                  {De: "nicht vorbei", Ja: "未解消"},
		"over at":                                   {De: "vorbei um", Ja: "解消"},
		"acknowledged at":                           {De: "bestätigt um", Ja: "確認"},
		"not acknowledged":                          {De: "nicht bestätigt", Ja: "未確認"},
		"See its bytes":                             {De: "Die Bytes ansehen", Ja: "バイト列を見る"},
		"All alarms":                                {De: "Alle Alarme", Ja: "全警報"},
		"What was raised in the session of":         {De: "Ausgelöst in der Sitzung vom", Ja: "発生した警報、記録："},
		"Nothing.":                                  {De: "Nichts.", Ja: "なし。"},
		"Another session":                           {De: "Eine andere Sitzung", Ja: "別の記録"},
		"The kinds of alarm":                        {De: "Die Arten von Alarm", Ja: "警報の種類"},
		"What each means, what to do, and how it is found.": {De: "Was jeder bedeutet, was zu tun ist, und wie er gefunden wird.", Ja: "それぞれの意味、対処、検出方法。"},
		"In flight": {De: "Im Flug", Ja: "飛行中"}, "On the pad": {De: "Am Startplatz", Ja: "発射台"}, "After the landing": {De: "Nach der Landung", Ja: "着地後"}, "The station itself": {De: "Die Station selbst", Ja: "局自身"},
		"Alarm": {De: "Alarm", Ja: "警報"},

		// The board without scripts.
		"Scripts are off in this browser, so this page does not move. Load it again to see the newest state.": {
			De: "Skripte sind in diesem Browser aus, deshalb steht diese Seite still. Neu laden zeigt den neuesten Stand.", Ja: "スクリプトが無効なので、このページは自動更新されません。最新の状態は再読み込みで。",
		},
		"Phase": {De: "Phase", Ja: "段階"}, "Height": {De: "Höhe", Ja: "高さ"}, "Not yet, because": {De: "Noch nicht, weil", Ja: "まだの理由"}, "not heard yet": {De: "noch nicht gehört", Ja: "未受信"},

		// The clock.
		"The station's clock is trusted":     {De: "Die Uhr der Station ist verlässlich", Ja: "局の時計は信頼できます"},
		"The station's clock is not trusted": {De: "Die Uhr der Station ist nicht verlässlich", Ja: "局の時計は信頼できません"},
		"The station says":                   {De: "Die Station sagt", Ja: "局の時刻"},
		"This browser says":                  {De: "Dieser Browser sagt", Ja: "ブラウザの時刻"},
		"Difference":                         {De: "Unterschied", Ja: "差"},
		"measuring…":                         {De: "wird gemessen…", Ja: "測定中…"},
		"Flights are measured with a clock that never steps, so nothing is lost when the time of day is wrong. Giving the station this browser's time moves the whole session to the right day and hour.": {
			De: "Flüge werden mit einer Uhr gemessen, die nie springt; eine falsche Uhrzeit kostet also nichts. Bekommt die Station die Zeit dieses Browsers, rückt die ganze Sitzung auf den richtigen Tag und die richtige Stunde.",
			Ja: "飛行は飛ばない時計で測るので、時刻が違っても何も失われません。ブラウザの時刻を局に渡すと、記録全体が正しい日時に移ります。",
		},
		"Give the station this browser's time":                {De: "Der Station die Zeit dieses Browsers geben", Ja: "ブラウザの時刻を局に渡す"},
		"Viewers may look at the clock but not set it.":       {De: "Zuschauer dürfen die Uhr ansehen, aber nicht stellen.", Ja: "観客は時計を見られますが、合わせられません。"},
		"This way of running padlark does not set the clock.": {De: "So wie padlark hier läuft, stellt es die Uhr nicht.", Ja: "この動かし方では時計を合わせません。"},

		// The comparison.
		"Flights of": {De: "Flüge von", Ja: "飛行"}, "all rockets": {De: "alle Raketen", Ja: "全ロケット"}, "Height over each other, from liftoff": {De: "Höhen übereinander, ab dem Start", Ja: "高さの比較（発射から）"},
		"Loading the flights …": {De: "Die Flüge werden geladen …", Ja: "読み込み中…"}, "Show": {De: "Zeigen", Ja: "表示"}, "Flight": {De: "Flug", Ja: "飛行"}, "Release": {De: "Auswurf", Ja: "放出"},
		"Water": {De: "Wasser", Ja: "水"}, "Pressure": {De: "Druck", Ja: "圧力"}, "Mass": {De: "Masse", Ja: "質量"}, "Nozzle": {De: "Düse", Ja: "ノズル"}, "Wind": {De: "Wind", Ja: "風"},
		"No flight has been recorded yet, so there is nothing to compare.": {De: "Noch ist kein Flug aufgezeichnet, also gibt es nichts zu vergleichen.", Ja: "まだ飛行の記録がなく、比較できません。"},

		// The configuration.
		"The file is":             {De: "Die Datei ist", Ja: "ファイル："},
		"It cannot be taken over": {De: "Sie kann nicht übernommen werden", Ja: "適用できません"},
		"The station goes on with the configuration that it has. Nothing is lost.": {De: "Die Station läuft mit ihrer jetzigen Konfiguration weiter. Nichts geht verloren.", Ja: "局は今の設定のまま動き続けます。何も失われません。"},
		"Taken over": {De: "Übernommen", Ja: "適用済み"},
		"The station goes on with the file as it is now, in the same session.": {De: "Die Station läuft mit der Datei, wie sie jetzt ist, in derselben Sitzung weiter.", Ja: "局は今のファイルで、同じ記録のまま動き続けます。"},
		"Nothing had to change.":                                  {De: "Es war nichts zu ändern.", Ja: "変更はありません。"},
		"What changes when it is taken over":                      {De: "Was sich mit der Übernahme ändert", Ja: "適用すると変わること"},
		"Nothing in it can be taken over while the station runs.": {De: "Nichts darin kann übernommen werden, solange die Station läuft.", Ja: "局の動作中に適用できるものはありません。"},
		"The station runs with this file as it is.":               {De: "Die Station läuft mit dieser Datei, wie sie ist.", Ja: "局はこのファイルのとおりに動いています。"},
		"Takes effect at the next start":                          {De: "Gilt ab dem nächsten Start der Station", Ja: "次の起動から有効"},
		"Worth a look":                                            {De: "Ansehen lohnt sich", Ja: "要確認"},
		"Take it over":                                            {De: "Übernehmen", Ja: "適用する"},
		"Links that do not change stay open, the session goes on, no frame is lost. A link that changes is closed for a moment.": {
			De: "Empfangswege, die sich nicht ändern, bleiben offen, die Sitzung geht weiter, keine Meldung geht verloren. Einer, der sich ändert, wird kurz geschlossen.",
			Ja: "変わらない回線は開いたままで記録も続き、受信は失われません。変わる回線だけ少しの間閉じます。",
		},
		"Boards that are open already show rockets that are new once they are heard.": {De: "Tafeln, die schon offen sind, zeigen neue Raketen, sobald sie gehört werden.", Ja: "開いている表示盤には、新しいロケットが受信されしだい出ます。"},
		"Look again": {De: "Noch einmal ansehen", Ja: "もう一度見る"},

		// The field.
		"No rocket tells where it is. A board with a receiver sends latitude and longitude; without one the wind shows the way: write": {
			De: "Keine Rakete sagt, wo sie ist. Eine Elektronik mit GPS-Empfänger sendet Breite und Länge; ohne ihn zeigt der Wind den Weg: eintragen", Ja: "位置を知らせるロケットがありません。測位受信機付きの基板は緯度・経度を送ります。ない場合は風から推定します。設定に書く：",
		},
		"Show where I am": {De: "Zeigen, wo ich bin", Ja: "自分の位置を表示"},
		"North is up. The dashed ellipse holds the landing in 95 of 100 cases; wind and gusts differ all the way down.": {
			De: "Norden ist oben. In 95 von 100 Fällen liegt die Landung in der gestrichelten Ellipse; Wind und Böen sind auf dem ganzen Weg nach unten verschieden.",
			Ja: "上が北。破線の楕円に100回中95回の落下点が入ります。風と突風は降下中ずっと変わります。",
		},

		// A flight.
		"highest above the pad": {De: "höchste über dem Startplatz", Ja: "発射台からの最高"}, "Against time since liftoff": {De: "Über der Zeit seit dem Start", Ja: "発射からの時間で見る"},
		"What the sounder beeped": {De: "Was der Piepser gepiepst hat", Ja: "ブザーが鳴らした高さ"},
		"The board sent nothing in flight: its sounder beeped the height after the landing, and nothing else is known. So there are no samples, and no plots.": {
			De: "Die Platine hat im Flug nichts gesendet: Ihr Piepser hat nach der Landung die Höhe gepiepst, und mehr ist nicht bekannt. Darum gibt es keine Messwerte und keine Kurven.",
			Ja: "ボードは飛行中に何も送信せず、着陸後にブザーで高さを鳴らしただけで、ほかのことは分かりません。そのため測定値もグラフもありません。"},
		"Or drag over a plot, or turn the wheel. Keys on a plot: ← → cursor, + − zoom, 0 all, Enter frames.": {
			De: "Oder über ein Bild ziehen, oder am Rad drehen. Tasten auf einem Bild: ← → Marke, + − Zoom, 0 alles, Enter Meldungen.", Ja: "図の上でドラッグ、またはホイール。キー：← → カーソル、+ − 拡大縮小、0 全体、Enter フレーム。",
		},
		"measured ± one standard deviation": {De: "gemessen ± eine Standardabweichung", Ja: "測定値 ± 標準偏差"}, "expected by the model": {De: "vom Modell erwartet", Ja: "モデルの予想"}, "single readings": {De: "einzelne Messwerte", Ja: "個々の測定値"},
		"Touch a plot, or move over it, to read its values.": {De: "Ein Bild berühren oder darüberfahren zeigt die Werte.", Ja: "図に触れるか重ねると値が出ます。"}, "Raw frames ↓": {De: "Rohe Meldungen ↓", Ja: "生フレーム ↓"},
		"Where it came down": {De: "Wo sie herunterkam", Ja: "落下地点"}, "Results": {De: "Ergebnisse", Ja: "結果"}, "Altimeter last checked on the bench": {De: "Höhenmesser zuletzt am Tisch geprüft", Ja: "高度計の最後の点検"},
		"never (padlark checkup does it)": {De: "nie (padlark checkup tut es)", Ja: "なし（padlark checkupで点検）"},
		"Download":                        {De: "Herunterladen", Ja: "ダウンロード"}, "Report to print": {De: "Bericht zum Drucken", Ja: "印刷用の報告"}, "Watch it again": {De: "Noch einmal ansehen", Ja: "もう一度見る"},
		"What happened": {De: "Was geschah", Ja: "出来事"}, "Notes": {De: "Notizen", Ja: "メモ"}, "Fill, pressure, mass, wind, what you saw": {De: "Füllung, Druck, Masse, Wind, was zu sehen war", Ja: "水量、圧力、質量、風、見えたこと"},
		"Keep the note": {De: "Notiz behalten", Ja: "メモを残す"}, "This station keeps no notes.": {De: "Diese Station behält keine Notizen.", Ja: "この局はメモを残しません。"}, "Was it a flight?": {De: "War es ein Flug?", Ja: "飛行でしたか"},
		"It was taken for none, and is not counted anywhere. What was heard is kept.": {De: "Es wurde nicht als Flug gewertet und zählt nirgends. Was gehört wurde, bleibt erhalten.", Ja: "飛行と認めず、どこにも数えません。受信したものは残ります。"},
		"It was a flight: count it again":                                             {De: "Es war ein Flug: wieder zählen", Ja: "飛行だった：また数える"},
		"A board that started again, a bump, a hand: say what it was":                 {De: "Eine neu gestartete Elektronik, ein Stoß, eine Hand: was war es?", Ja: "基板の再起動、衝撃、手で動かした等：何だったか"},
		"It was no flight: do not count it":                                           {De: "Es war kein Flug: nicht zählen", Ja: "飛行ではない：数えない"},
		"Was it told apart rightly?":                                                  {De: "Ist der Flug richtig abgegrenzt?", Ja: "飛行の区切りは正しいですか"},
		"What was heard is kept.":                                                     {De: "Was gehört wurde, bleibt erhalten.", Ja: "受信したものは残ります。"},
		"Make it again what it was":                                                   {De: "Wieder machen, was es war", Ja: "元に戻す"},
		"It goes on: join it with the next flight":                                    {De: "Er geht weiter: mit dem nächsten Flug verbinden", Ja: "続きがある：次の飛行とつなぐ"},
		"It is two. Seconds after liftoff at which it lay on the ground":              {De: "Es sind zwei. Sekunden nach dem Start, als sie am Boden lag", Ja: "二つの飛行。地上にあった時刻（発射後の秒）"},
		"Split it there":        {De: "Dort teilen", Ja: "そこで分ける"},
		"It was another rocket": {De: "Es war eine andere Rakete", Ja: "別のロケットだった"},
		"Give it to that one":   {De: "Jener zuordnen", Ja: "そのロケットに移す"},
		"The raw frames":        {De: "Die rohen Meldungen", Ja: "生フレーム"}, "at the cursor: click in a plot": {De: "an der Marke: in ein Bild klicken", Ja: "カーソルの所：図をクリック"},
		"Time to apogee": {De: "Zeit bis zum Gipfel", Ja: "頂点までの時間"}, "Hardest push": {De: "Stärkster Schub", Ja: "最大加速"}, "Burnout": {De: "Schubende", Ja: "加速終了"}, "Apogee called late by": {De: "Gipfel zu spät gemeldet um", Ja: "頂点の通知の遅れ"},
		"above the pad": {De: "über dem Startplatz", Ja: "発射台から"}, "from liftoff to apogee": {De: "vom Start bis zum Gipfel", Ja: "発射から頂点まで"}, "upward": {De: "aufwärts", Ja: "上向き"}, "largest acceleration": {De: "größte Beschleunigung", Ja: "最大の加速度"},
		"after liftoff": {De: "nach dem Start", Ja: "発射後"}, "after apogee; below zero: before it": {De: "nach dem Gipfel; unter null: davor", Ja: "頂点の後、負なら前"}, "mean, under the parachute": {De: "Mittel, am Fallschirm", Ja: "パラシュートでの平均"},
		"from liftoff to touchdown": {De: "vom Start bis zur Landung", Ja: "発射から着地まで"}, "the live call minus the apogee found afterwards": {De: "Meldung im Flug minus nachher gefundener Gipfel", Ja: "飛行中の通知と後で求めた頂点の差"},
		"frames-heard": {En: "{heard} heard, {lost} lost", De: "{heard} gehört, {lost} verloren", Ja: "受信{heard}、欠落{lost}"}, "on all links together": {De: "auf allen Empfangswegen zusammen", Ja: "全回線の合計"},

		// The list of flights.
		"A board that beeps its height": {De: "Eine Elektronik, die ihre Höhe piept", Ja: "高さをブザーで知らせる基板"},
		"still being worked out, as after an update of padlark: until then the sums leave out what is missing. This page looks again by itself.": {
			De: "noch in Auswertung, wie nach einer neuen Version von padlark: bis dahin fehlen sie in den Summen. Diese Seite sieht von selbst wieder nach.", Ja: "件は解析中（padlarkの更新後など）。済むまで合計に入りません。このページは自動で見直します。",
		},
		"These are the newest": {De: "Das sind die neuesten", Ja: "新しい順に"}, "List all": {De: "Alle zeigen:", Ja: "全件を表示："}, "which takes a moment.": {De: "das dauert einen Moment.", Ja: "少し時間がかかります。"},

		// Phones.
		"Phones": {De: "Handys", Ja: "スマホ"},
		"These pages are open to this computer only. To let phones in, write": {De: "Diese Seiten sind nur für diesen Computer offen. Um Handys hereinzulassen,", Ja: "これらのページはこのコンピュータからだけ見られます。スマホから見るには、次を書きます："},
		"in the configuration and start padlark again: it makes a passphrase if there is none.": {
			De: "in die Konfiguration schreiben und padlark neu starten: es macht ein Passwort, wenn es keines gibt.", Ja: "（設定ファイル）。padlarkを再起動すると、なければパスフレーズが作られます。",
		},
		"Join the field's Wi-Fi: the network that this station is in.": {De: "Ins WLAN am Platz gehen: das Netz, in dem diese Station ist.", Ja: "会場のWi-Fi（局と同じネットワーク）につなぐ。"},
		"Scan the code, or open": {De: "Den Code scannen, oder öffnen:", Ja: "コードを読み取る、または開く："},
		"Give the passphrase":    {De: "Das Passwort eingeben", Ja: "パスフレーズを入力"}, "that the crew tells you": {De: "das die Crew nennt", Ja: "（運営に聞く）"},
		"Tap the yellow button once: then the phone sounds, shakes and keeps its screen on. Lay it where you see it.": {
			De: "Den gelben Knopf einmal antippen: dann tönt und vibriert das Handy, und der Bildschirm bleibt an. Es dahin legen, wo man es sieht.", Ja: "黄色のボタンを一度タップ：音と振動が出て画面が点いたままになります。見える所に置く。",
		},
		"To keep the board at hand, choose “Add to home screen” in the browser's menu.": {De: "Damit die Tafel zur Hand ist: im Menü des Browsers „Zum Startbildschirm“ wählen.", Ja: "すぐ開けるように、ブラウザのメニューで「ホーム画面に追加」を選びます。"},
		"Without TLS a phone does not tell where it is: write":                          {De: "Ohne TLS sagt ein Handy nicht, wo es ist:", Ja: "TLSがないとスマホは位置を知らせません。次を書きます："},
		"for the way from you to a rocket. A phone then asks once whether to trust the station.": {
			De: "eintragen, für den Weg von hier zu einer Rakete. Ein Handy fragt dann einmal, ob es der Station trauen soll.", Ja: "（自分からロケットまでの道のため）。スマホは一度だけ、局を信頼するか尋ねます。",
		},
		"Print this sheet": {De: "Dieses Blatt drucken", Ja: "この紙を印刷"},
		"A screen warns late or not at all when the radio is silent. Look at the sky, and do as the range safety officer says.": {
			De: "Schweigt der Funk, warnt ein Bildschirm spät oder gar nicht. In den Himmel sehen, und den Anweisungen des Sicherheitsverantwortlichen folgen.",
			Ja: "無線が途絶えると、画面の警告は遅れるか出ません。空を見て、安全責任者の指示に従ってください。",
		},

		// The keys of the configuration.
		"A key, a unit, a word": {De: "Ein Schlüssel, eine Einheit, ein Wort", Ja: "項目、単位、語"}, "Look for it": {De: "Suchen", Ja: "探す"}, "Show all": {De: "Alle zeigen", Ja: "すべて表示"},
		"Nothing in the reference has to do with":                                       {De: "Nichts im Verzeichnis passt zu", Ja: "一覧に該当なし："},
		"This way of running padlark has no reference; padlark check --keys prints it.": {De: "So wie padlark hier läuft, hat es kein Verzeichnis; padlark check --keys druckt es.", Ja: "この動かし方では一覧がありません。padlark check --keysで表示できます。"},
		"The same in a terminal: padlark check --keys WORD. padlark check --example prints a configuration to start from.": {
			De: "Dasselbe im Terminal: padlark check --keys WORT. padlark check --example druckt eine Konfiguration für den Anfang.", Ja: "端末でも同じ：padlark check --keys 語。padlark check --exampleは最初の設定例を表示します。",
		},

		// The links.
		"Is this computer ready?": {De: "Ist dieser Computer bereit?", Ja: "このコンピュータの準備は"}, "Ports, disk, clock, sound, power, heat.": {De: "Anschlüsse, Speicher, Uhr, Ton, Strom, Wärme.", Ja: "ポート、ディスク、時計、音、電源、温度。"},
		"what the file changes, and taking it over.": {De: "was die Datei ändert, und sie übernehmen.", Ja: "ファイルで変わることと、その適用。"},
		"What may be sent on":                        {De: "Was gesendet werden mag auf", Ja: "送られている可能性があるもの："}, "For the configuration": {De: "Für die Konfiguration", Ja: "設定に書くもの"}, "Copy": {De: "Kopieren", Ja: "コピー"}, "Text for the configuration": {De: "Text für die Konfiguration", Ja: "設定用の文"},
		"No link has reported yet. A link is a port or socket that frames come from; the configuration names them under [[link]], and padlark ports lists what is plugged in.": {
			De: "Noch hat sich kein Empfangsweg gemeldet. Das ist ein Anschluss oder Socket, von dem Meldungen kommen; die Konfiguration nennt sie unter [[link]], und padlark ports zeigt, was eingesteckt ist.",
			Ja: "まだ回線の報告がありません。回線はフレームが届くポートやソケットです。設定の[[link]]に書きます。padlark portsで接続中のものが分かります。",
		},
		"Every key of it":                {De: "Alle Schlüssel dazu", Ja: "全項目"},
		"Copy to the time-series server": {De: "Kopie zum Zeitreihen-Server", Ja: "時系列サーバへの写し"}, "Way to the outside server": {De: "Weg zum Server draußen", Ja: "外部サーバへの送信"},
		"to be sent": {De: "zu senden", Ja: "未送信"}, "last taken": {De: "zuletzt angenommen", Ja: "最後の受理"}, "points taken": {De: "angenommene Punkte", Ja: "受理した点"}, "refused for good": {De: "endgültig abgelehnt", Ja: "受理されず"}, "frames taken": {De: "angenommene Meldungen", Ja: "受理したフレーム"},
		"Frames as they come, on": {De: "Meldungen, wie sie kommen, auf", Ja: "受信中のフレーム："}, "Hold still": {De: "Anhalten", Ja: "止める"}, "Frames, newest first": {De: "Meldungen, neueste zuerst", Ja: "フレーム、新しい順"},
		"No.": {De: "Nr.", Ja: "番号"}, "Heard": {De: "Gehört", Ja: "受信"}, "Bytes": {De: "Bytes", Ja: "バイト列"}, "Decoded": {De: "Gelesen", Ja: "解読"},
		"What was refused, newest first": {De: "Was abgelehnt wurde, neueste zuerst", Ja: "読めなかったもの、新しい順"}, "Refused bytes": {De: "Abgelehnte Bytes", Ja: "読めなかったバイト列"}, "At": {De: "Um", Ja: "時刻"}, "Why": {De: "Warum", Ja: "理由"}, "Bytes, and as text": {De: "Bytes, und als Text", Ja: "バイト列と文字"},
		"As it came": {De: "Wie es kam", Ja: "届いたまま"}, "What it may be": {De: "Was es sein mag", Ja: "推定"}, "How sure": {De: "Wie sicher", Ja: "確かさ"}, "Show its frames": {De: "Meldungen zeigen", Ja: "フレームを表示"}, "Guess what it sends": {De: "Raten, was er sendet", Ja: "内容を推定"},

		// The computer.
		"What the station needs of the computer that it runs on, looked at just now. Load the page again to look again.": {
			De: "Was die Station von ihrem Computer braucht, eben nachgesehen. Seite neu laden, um wieder nachzusehen.", Ja: "局が動くコンピュータに必要なもの。今調べた結果です。再読み込みで調べ直します。",
		},
		"What was found": {De: "Was gefunden wurde", Ja: "調べた結果"}, "Part": {De: "Teil", Ja: "部分"}, "State": {De: "Zustand", Ja: "状態"}, "Found": {De: "Gefunden", Ja: "結果"}, "To mend it": {De: "Abhilfe", Ja: "対処"}, "look": {De: "prüfen", Ja: "要確認"}, "bad": {De: "schlecht", Ja: "不良"},
		"This way of running padlark does not look at its computer.": {De: "So wie padlark hier läuft, sieht es seinen Computer nicht an.", Ja: "この動かし方ではコンピュータを調べません。"},

		// The replay.
		"Replay": {De: "Wiedergabe", Ja: "再生"}, "REPLAY": {De: "WIEDERGABE", Ja: "再生"}, "of": {De: "vom", Ja: "記録："}, "not live": {De: "nicht live", Ja: "実況ではありません"}, "Go to the live board": {De: "Zur Live-Tafel", Ja: "実況の表示盤へ"},
		"Pause": {De: "Pause", Ja: "一時停止"}, "Speed": {De: "Tempo", Ja: "速さ"}, "Time in the session": {De: "Zeit in der Sitzung", Ja: "記録内の時刻"},

		// The report.
		"Report": {De: "Bericht", Ja: "報告"}, "session": {De: "Sitzung", Ja: "記録"},
		"Dots are single readings, the bands ± two standard deviations.": {De: "Punkte sind einzelne Messwerte, die Bänder ± zwei Standardabweichungen.", Ja: "点は個々の測定値、帯は± 標準偏差の2倍。"},
		"Dashed: what the model expected of the rocket as configured.":   {De: "Gestrichelt: was das Modell von der Rakete erwartete, wie sie konfiguriert ist.", Ja: "破線：設定どおりのロケットについてのモデルの予想。"},
		"± is one standard deviation: about two times in three the true value lies inside.": {
			De: "± ist eine Standardabweichung: in etwa zwei von drei Fällen liegt der wahre Wert darin.", Ja: "±は標準偏差：3回に2回ほど真の値がその中に入ります。",
		},
		"Heights follow from air pressure; they say nothing about the ground where the rocket came down.": {
			De: "Höhen folgen aus dem Luftdruck; sie sagen nichts über den Boden, wo die Rakete herunterkam.", Ja: "高さは気圧から求めたもので、落下地点の地面の高さは分かりません。",
		},

		// The sessions.
		"Began": {De: "Begann", Ja: "開始"}, "Lasted": {De: "Dauerte", Ja: "長さ"}, "Rockets": {De: "Raketen", Ja: "ロケット"}, "Frames": {De: "Meldungen", Ja: "フレーム"}, "Lost": {De: "Verloren", Ja: "欠落"}, "Size": {De: "Größe", Ja: "大きさ"}, "Silences": {De: "Stille", Ja: "途絶"}, "Watch": {De: "Ansehen", Ja: "見る"},
		"running now": {De: "läuft jetzt", Ja: "記録中"}, "none heard": {De: "keine gehört", Ja: "受信なし"}, "so far": {De: "bisher", Ja: "現在"}, "counting": {De: "wird gezählt", Ja: "集計中"}, "the frames themselves, as they came": {De: "die Meldungen selbst, wie sie kamen", Ja: "届いたままのフレームの量"},
		"of 5 s or more": {De: "von 5 s oder mehr", Ja: "回、5秒以上"}, "to": {De: "bis", Ja: "～"}, "none": {De: "keine", Ja: "なし"}, "fixed": {De: "gestellt", Ja: "修正済み"}, "as the computer had it": {De: "wie der Computer sie hatte", Ja: "コンピュータのまま"},
		"There is no session in the archive yet.": {De: "Noch ist keine Sitzung im Archiv.", Ja: "まだ記録がありません。"},

		// The sounder.
		"Sounder": {De: "Piepser", Ja: "ブザー"},
		"A board without a radio beeps its height out after the landing. Hold the phone near it for two or three repeats, and read the height here.": {
			De: "Eine Elektronik ohne Funk piept ihre Höhe nach der Landung. Das Handy zwei, drei Wiederholungen lang in die Nähe halten und die Höhe hier lesen.", Ja: "無線のない基板は着地後に高さをブザーで知らせます。2、3回分スマホを近づけて、ここで高さを読みます。",
		},
		"Code": {De: "Code", Ja: "符号"}, "Record with this microphone": {De: "Mit diesem Mikrofon aufnehmen", Ja: "このマイクで録音"}, "A recording": {De: "Eine Aufnahme", Ja: "録音"},
		"Over plain http a browser keeps its microphone shut: record with the phone's own recorder and choose the file here.": {
			De: "Ohne https hält der Browser das Mikrofon zu: mit der Aufnahme-App des Handys aufnehmen und die Datei hier wählen.", Ja: "httpではブラウザのマイクが使えません。スマホの録音アプリで録って、ここでファイルを選んでください。",
		},
		"Viewers may look but not add a flight: sign in with the crew's passphrase.": {De: "Zuschauer dürfen ansehen, aber keinen Flug hinzufügen: mit dem Passwort der Crew anmelden.", Ja: "観客は見るだけで、飛行を追加できません。運営のパスフレーズでサインインしてください。"},
		"Keep as a flight": {De: "Als Flug behalten", Ja: "飛行として残す"}, "Learn the code": {De: "Den Code lernen", Ja: "符号を覚える"}, "Beep this number": {De: "Diese Zahl piepen", Ja: "この数を鳴らす"}, "Beep it": {De: "Piepen", Ja: "鳴らす"},
		"The height is that of the board's own barometer. Where the board computes for air of 15 °C it is corrected with the temperature of the site.": {
			De: "Die Höhe ist die des Barometers der Elektronik. Rechnet sie mit Luft von 15 °C, wird mit der Temperatur am Platz berichtigt.", Ja: "高さは基板の気圧計の値です。15 °Cの空気で計算する基板は、会場の気温で補正します。",
		},
		"No sounder is described in the configuration. Add a layout with": {De: "In der Konfiguration ist kein Piepser beschrieben. Ein Layout ergänzen mit", Ja: "設定にブザーの記述がありません。次のレイアウトを加えます："},
		"as": {De: "wie", Ja: "（例："}, "shows, and take it over": {De: "zeigt, und übernehmen", Ja: "）、そして適用"},
	}
}

// events are the names of what happens in a flight.
func events() map[string]Text {
	return map[string]Text{
		"event.liftoff":   {En: "liftoff", De: "Start", Ja: "発射"},
		"event.burnout":   {En: "burnout", De: "Schubende", Ja: "加速終了"},
		"event.apogee":    {En: "apogee", De: "Gipfel", Ja: "頂点"},
		"event.release":   {En: "release", De: "Auswurf", Ja: "放出"},
		"event.touchdown": {En: "touchdown", De: "Landung", Ja: "着地"},
		"event.reboot":    {En: "reboot", De: "Neustart", Ja: "再起動"},
		"event.timefix":   {En: "timefix", De: "Uhr gestellt", Ja: "時刻修正"},
	}
}
