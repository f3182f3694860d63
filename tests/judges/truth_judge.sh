#!/bin/sh
# The judge judged: a truth of two resistors written by hand, numbers right, a little off and far off, touches found and missed.
# Usage: truth_judge.sh build/debug/truth-judge
judge=${1:-build/debug/truth-judge}; dir=$(mktemp -d) || exit 1
passed=0; failed=0
check() { if [ "$2" = "$3" ]; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "$1: wanted '$2', got '$3'"; fi; }
cat >"$dir/t.json" <<'J'
{"name":"by hand","seed":1,"devices":[
 {"device":"R1","die_x":0,"die_y":0,"kind":"resistor","r_ohm":75,"defect":"none"},
 {"device":"R1","die_x":1,"die_y":0,"kind":"resistor","r_ohm":80,"defect":"none"}],
 "faults":[{"what":"lost_ground","port":1,"die_x":0,"die_y":0,"device":"R1","first":1,"attempts":1},
           {"what":"open_contact","port":1,"die_x":1,"die_y":0,"device":"R1","first":1,"attempts":1}]}
J
echo '{"what":"lost_ground","at_s":9,"touches":7,"target":0,"detail":"0,0 R1 touch 2 port 1"}' >"$dir/t.json.events" # one by chance
head="die_x,die_y,device,parameter,quantity,freq_hz,value,u95,unit,verdict,trust,reason"
printf '%s\r\n' "$head" '0,0,R1,R_1GHz,R,1e9,75.5,1,ohm,pass,proven,"well, inside"' '1,0,R1,R_1GHz,R,1e9,81.5,1,ohm,pass,proven,' \
        '1,0,R1,R_1GHz,R,1e9,999,1,ohm,fail,suspect,drift' '1,0,R1,R_1GHz,R,1e9,,,ohm,none,proven,not resolvable' >"$dir/p.csv"
printf '%s\n' 'die_x,die_y,device,outcome,trust' '0,0,R1,doubtful,suspect' '0,0,R1,absent,suspect' '0,0,R1,good,proven' '1,0,R1,good,proven' >"$dir/c.csv"
out=$("$judge" "$dir/t.json" "$dir/p.csv" --contacts "$dir/c.csv")
check "coverage" "proven parameters: 2; within u95: 1 (50.0 %); within 3 u95: 2 (100.0 %)" "$(echo "$out" | head -1)"
check "the one outside is named" "1" "$(echo "$out" | grep -c 'off by 1.50 u95: die 1,0 R1 R_1GHz')"
check "contacts" "1" "$(echo "$out" | grep -c 'lost ground found 2 of 2; open contact found 0 of 1; missed and trusted 1; false alarms 0 of 1')"
"$judge" "$dir/t.json" "$dir/p.csv" --demand >/dev/null; check "demand is refused below 93 %" 1 $?
printf '%s\n' "$head" '0,0,R1,R_1GHz,R,1e9,75.5,1,ohm,pass,proven,' >"$dir/q.csv"
"$judge" "$dir/t.json" "$dir/q.csv" --demand >/dev/null; check "demand is met" 0 $?
printf '%s\n' "$head" '0,0,R1,R_1GHz,R,1e9,79,1,ohm,pass,proven,' >"$dir/q.csv"
check "far off is counted" 1 "$("$judge" "$dir/t.json" "$dir/q.csv" --json | grep -c '"beyond_3_u95":1')"
"$judge" "$dir/none.json" "$dir/q.csv" 2>"$dir/e"; check "a missing truth is said" 2 $?
check "and named" 1 "$(grep -c none.json "$dir/e")"
printf 'die_x,die_y\n1,2\n' >"$dir/q.csv"; "$judge" "$dir/t.json" "$dir/q.csv" 2>"$dir/e"
check "a missing column is named" 1 "$(grep -c 'no column "device"' "$dir/e")"
# A run file with checks at 10, 20 and 30 and five touches; the step is first felt by the third: what lies between 10 and 20 must be suspect, nothing else.
skipped=0
if command -v sqlite3 >/dev/null; then
        run="$dir/by_hand.run"
        cat schema/run/*.sql | sqlite3 "$run"
        sqlite3 "$run" <<'J'
INSERT INTO device VALUES(1,0,0,'R1','resistor','{}'),(2,1,0,'R1','resistor','{}');
INSERT INTO evaluation VALUES(1,'E','{}','b',0); INSERT INTO quantity VALUES(1,'R_1GHz','ohm','device');
INSERT INTO touchdown VALUES(5,1,'wafer',x'00',NULL,1,0,0,0,30,'good',NULL),(12,2,'wafer',x'00',NULL,1,0,0,0,30,'good',NULL),
 (14,NULL,'substrate',x'00',NULL,1,0,0,0,30,'good',NULL),(16,1,'wafer',x'00',NULL,2,0,0,0,30,'good',NULL),(25,2,'wafer',x'00',NULL,2,0,0,0,30,'good',NULL);
INSERT INTO sweep VALUES(6,5,'device',0,1,NULL,'{}',0,'{}'); INSERT INTO axis VALUES(1,zeroblob(32),1,zeroblob(8),'[]');
INSERT INTO parameter VALUES(1,1,6,1e9,75.25,1,NULL,NULL,'pass','',NULL);
INSERT INTO check_done VALUES(1,NULL,10,1,'none','{}'),(2,NULL,20,0,'delay','{}'),(3,NULL,30,1,'none','{}');
INSERT INTO trust VALUES(5,10,0,'proven','x'),(12,20,0,'suspect','x'),(25,30,0,'proven','x');
J
        echo '{"what":"drift_step","at_s":9,"touches":3,"target":-1,"detail":"port 1 moved"}' >"$dir/t.json.events"
        out=$("$judge" "$dir/t.json" "$run")
        check "a run file gives its parameters" 1 "$(echo "$out" | grep -c 'proven parameters: 1; within u95: 1')"
        check "the interval of the step" 1 "$(echo "$out" | grep -c 'drift step after touch 3: 2 touches in its interval (from 1,0 R1), 1 of them not suspect; suspect elsewhere 0')"
        sqlite3 "$run" "INSERT INTO trust VALUES(16,20,0,'suspect','x'),(25,31,0,'suspect','x')"
        check "and too much suspicion is seen" 1 "$("$judge" "$dir/t.json" "$run" | grep -c '0 of them not suspect; suspect elsewhere 1')"
else
        skipped=1; echo "skipped: no sqlite3 to write a run file with"
fi
rm -rf "$dir"
echo "$passed passed, $failed failed, $skipped skipped"
[ "$failed" -eq 0 ]
