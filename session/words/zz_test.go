package words
import ("testing";"os";"strings";"fmt")
func TestZZ(t *testing.T){
 r,cs:=shipped(t),corpusContexts()
 raw,_:=os.ReadFile("/tmp/w/words6.tmp/try")
 for _,l:=range strings.Split(strings.TrimSpace(string(raw)),"\n"){
  ctx,said,_:=strings.Cut(l,": ")
  res:=converse(r,said,cs[ctx])
  fmt.Printf("%-14s %-70q %s\n",ctx,said,summary(res))
  for _,q:=range res.Questions{fmt.Println("      Q:",q.Text)}
  for _,q:=range res.Unread{fmt.Println("      U:",q.Text,"|",q.Why)}
 }
}
