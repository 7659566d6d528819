"""Second implementation of the frozen noise: prints the hashes that src/signal/noise.rs pins (Python 3, no packages).

Run from the root of the project. It reads the filter tables from the source and computes everything else itself.
"""

import struct,re
M=(1<<64)-1
def sm(s):
    s[0]=(s[0]+0x9E3779B97F4A7C15)&M; z=s[0]
    z=((z^(z>>30))*0xBF58476D1CE4E5B9)&M; z=((z^(z>>27))*0x94D049BB133111EB)&M
    return z^(z>>31)
rot=lambda x,k:((x<<k)|(x>>(64-k)))&M
class G:
    def __init__(g,seed):
        st=[seed]; g.s=[sm(st) for _ in range(4)]
    def bits(g):
        s=g.s; r=(rot((s[0]+s[3])&M,23)+s[0])&M; t=(s[1]<<17)&M
        s[2]^=s[0]; s[3]^=s[1]; s[1]^=s[2]; s[0]^=s[3]; s[2]^=t; s[3]=rot(s[3],45); return r
    def gauss(g):
        t=0
        for _ in range(6):
            b=g.bits(); t+=(b>>32)+(b&0xFFFFFFFF)
        return (float(t)-6*4294967295.0)/4294967296.0
src=open('src/signal/noise.rs').read()
tab={int(r):[tuple(map(float,m)) for m in re.findall(r'\(([-\d.]+), ([-\d.]+)\),',b)] for r,b in re.findall(r'const PINK_(\d+): PinkTable = \[(.*?)\];',src,re.S)}
def fnv(h,x):
    for b in struct.pack('<d',x): h=((h^b)*0x100000001B3)&M
    return h
for rate in (0,44100,48000,96000):
    g=G(1); h=0xCBF29CE484222325
    t=tab.get(rate,[]); held=[[0.,0.] for _ in t]
    def nx():
        x=g.gauss()
        for (z,p),hh in zip(t,held):
            y=x-z*hh[0]+p*hh[1]; hh[0]=x; hh[1]=y; x=y
        return x
    if rate:
        for _ in range(rate//2): nx()
    for _ in range(100000): h=fnv(h,nx())
    print(rate,h)
